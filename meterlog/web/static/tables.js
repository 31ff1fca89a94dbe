// Names for the controls of Datasette's own pages that have none, also for those that its scripts add; keys for what scrolls.
const names = {
  "_filter_column": "column to filter by", "_filter_op": "how to compare", "_filter_value": "value to compare with",
  "_sort": "column to sort by", "_sort_by_desc": "largest first", "_size": "rows",
};

function name() {
  for (const control of document.querySelectorAll("main input, main select, main textarea")) {
    const plain = Object.keys(names).find((name) => (control.name || "").replace(/_\d+$/, "") === name);
    if (!control.labels?.length && !control.getAttribute("aria-label"))
      control.setAttribute("aria-label", plain ? names[plain] : "query");
  }
  for (const area of document.querySelectorAll("main pre, main .table-wrapper")) {
    area.tabIndex = 0;
    if (!area.hasAttribute("role")) { area.setAttribute("role", "region"); area.setAttribute("aria-label", area.matches("pre") ? "SQL" : "Rows"); }
  }
}

name();
new MutationObserver(name).observe(document.querySelector("main"), { childList: true, subtree: true });
