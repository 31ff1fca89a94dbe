// A link to a check opens the fold that it lies in.
function unfold() {
  const to = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  for (let fold = to?.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  to?.scrollIntoView();
}
addEventListener("hashchange", unfold);
unfold();
