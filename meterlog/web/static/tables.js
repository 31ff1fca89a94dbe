// Names for the controls of Datasette's own pages that have none.
const names = {
  "_filter_column": "column to filter by", "_filter_op": "how to compare", "_filter_value": "value to compare with",
  "_sort": "column to sort by", "_sort_by_desc": "largest first", "_size": "rows",
};
for (const control of document.querySelectorAll("main input, main select, main textarea")) {
  const plain = Object.keys(names).find((name) => (control.name || "").replace(/_\d+$/, "") === name);
  if (!control.labels?.length && !control.getAttribute("aria-label"))
    control.setAttribute("aria-label", plain ? names[plain] : "query");
}
