// What no case has tried yet.

function untriedList(title, none, items) {
  return [
    el("h3", {}, title),
    items.length > 0
      ? el(
          "ul",
          { class: "untried" },
          items.map((item) => el("li", {}, item)),
        )
      : el("p", { class: "quiet" }, none),
  ];
}

function toListing(spot) {
  return el(
    "button",
    { type: "button", class: "plain", onclick: () => showInListing(spot.address) },
    "show in the listing",
    el("span", { class: "sr" }, " " + address(spot.address)),
  );
}

function drawUntried() {
  const found = coverageOf(shownHarness);
  if (!found) {
    fill(at("untried-body"), el("p", { class: "quiet" }, "Coverage of this harness was not recorded."));
    return;
  }
  const { coverage } = found;
  const directions = coverage["never-taken"].map((never) => [
    place(never.at, true),
    " ",
    el("code", {}, never.instruction),
    never.reached ? " never " : " was not reached, and never ",
    never.taken ? "branched to " : "went on to ",
    place(never.to),
    "; ",
    never.why,
    " ",
    toListing(never.at),
  ]);
  const stretch = (code) => [
    place(code.at, false),
    " to ",
    el("code", {}, address(code.last)),
    code.source ? " " + code.source : "",
    ", " + counted(code.instructions, "instruction"),
    " ",
    toListing(code.at),
  ];
  const entries = coverage["never-matched"].map((entry) => [
    el("code", {}, entry.whose),
    " ",
    el("code", {}, '"' + entry.text + '"'),
    entry.source ? " " + entry.source : "",
    ", compared in " + counted(entry.cases, "case"),
  ]);
  const fields = coverage.fields
    .filter((field) => field["never-varied"])
    .map((field) => [
      el("code", {}, field.name),
      " at " + offsetText(field.at) + ", read by " + counted(field["read-by"], "case") + ": the same in all of them",
    ]);
  const jumps = coverage.unresolved.map((spot) => [place(spot, true), " ", toListing(spot)]);
  fill(
    at("untried-body"),
    untriedList("Code that no case reached", "All reachable code was run.", coverage.unreached.map(stretch)),
    untriedList("Directions that no case took", "Every direction was taken.", directions),
    untriedList("Table entries that nothing matched", "Every entry that was compared has matched once.", entries),
    followedNote(coverage),
    untriedList("Header fields that never varied", "Every field that is read has had more than one content.", fields),
    coverage.outside.length > 0 &&
      untriedList(
        "Code outside the host ROM that ran, and is not counted",
        "",
        coverage.outside.map((code) => stretch(code).slice(0, -2)),
      ),
    jumps.length > 0 && untriedList("Computed jumps that no case reached", "", jumps),
  );
}
