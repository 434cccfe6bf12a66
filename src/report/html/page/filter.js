// The controls above the matrix.

function option(value, label) {
  return el("option", { value }, label);
}

function drawFilters() {
  const [first, end] = range();
  const verdicts = new Set(),
    taken = new Set(),
    kinds = new Set();
  for (let index = first; index < end; index++) {
    verdicts.add(text("verdict", index));
    taken.add(text("taken", index));
    if (text("kind", index)) kinds.add(text("kind", index));
  }
  const known = VERDICTS.filter(([word]) => verdicts.has(word));
  fill(
    at("filter-verdict"),
    option("", "any"),
    known.some(([word]) => word !== "held") && option("not held", "all but held"),
    known.map(([word, label]) => option(word, label)),
  );
  const harness = head.harnesses[shownHarness];
  const ordered = (harness ? harness.branches.map((branch) => branch.name) : []).filter((name) => taken.has(name));
  const others = [...taken].filter((name) => !ordered.includes(name)).sort(collator.compare);
  fill(
    at("filter-branch"),
    option("", "any"),
    el(
      "optgroup",
      { label: "Branch or other end" },
      ordered.concat(others).map((name) => option("name:" + name, name)),
    ),
    kinds.size > 0 &&
      el(
        "optgroup",
        { label: "Kind of branch" },
        [...kinds].sort().map((kind) => option("kind:" + kind, kind)),
      ),
  );
  fill(
    at("sort-by"),
    SORTS.map(([value, label]) => option(value, label)),
  );
  at("sort-by").value = sorting.key || "";
}

// Shows what is asked for, and moves to the matrix.
function setFilter(wanted, stay) {
  Object.assign(filter, wanted);
  at("filter-text").value = filter.text;
  at("filter-verdict").value = filter.verdict;
  at("filter-branch").value = filter.branch;
  showMatrix();
  if (!stay) {
    matrix.go(0, { focus: false });
  }
}

function listenToFilters() {
  at("filters").addEventListener("submit", (event) => event.preventDefault());
  at("filter-text").addEventListener("input", () => {
    filter.text = at("filter-text").value;
    showMatrix();
  });
  at("filter-text").addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown") {
      event.preventDefault();
      matrix.go(0);
    }
  });
  at("filter-verdict").addEventListener("change", () => {
    filter.verdict = at("filter-verdict").value;
    showMatrix();
  });
  at("filter-branch").addEventListener("change", () => {
    filter.branch = at("filter-branch").value;
    showMatrix();
  });
  at("sort-by").addEventListener("change", () => {
    sorting.key = null;
    sorting.down = false;
    sortBy(at("sort-by").value);
  });
  at("clear-filters").addEventListener("click", () => setFilter({ text: "", verdict: "", branch: "" }, true));
  at("next-failure").addEventListener("click", nextFailure);
  onHarness.push(() => {
    Object.assign(filter, { text: "", verdict: "", branch: "" });
    at("filter-text").value = "";
    failureShown = false;
    drawFilters();
    drawBranches();
    showMatrix();
  });
}
