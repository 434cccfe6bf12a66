// Puts the page together: the matrix at once, everything else as soon as the browser has time.

function drawHead() {
  const harness = head.harnesses[shownHarness];
  if (!harness) {
    fill(at("host-facts"), "No case was run.");
    return;
  }
  fill(at("host"), harness.name);
  fill(
    at("host-facts"),
    harness.images.join(", "),
    ", ",
    counted(harness.bytes, "byte"),
    ", CRC-32 ",
    el("code", {}, harness.crc32),
    "; harness ",
    harness.file,
    head.start ? "; seed " + head.start.seed : "",
  );
}

function drawTally() {
  const { summary } = head;
  const parts = [
    [summary.held, "held", "is-held"],
    [summary.failed, "failed", "is-failed"],
    [summary.undecided, "undecided", "is-undecided"],
    [summary["known-bugs"], summary["known-bugs"] === 1 ? "known bug" : "known bugs", "is-known"],
    [summary["not-run"], "not run", "quiet"],
  ];
  fill(
    at("tally"),
    el(
      "span",
      {},
      counted(summary.cases, "case") +
        (summary.derived ? ", " + count(summary.derived) + " of them from acceptance tables" : ""),
    ),
    parts
      .filter(([number]) => number > 0)
      .map(([number, word, look]) => el("span", { class: "verdict " + look }, count(number) + " " + word)),
  );
  fill(at("foot"), "Made by keyway " + head.version + ". This page is one file and loads nothing.");
}

function chooseHarness() {
  const choice = at("harness");
  fill(
    choice,
    head.harnesses.map((harness, index) =>
      option(
        index,
        harness.name +
          " (" +
          harness.file +
          ")" +
          (failuresBy[index] ? ", " + count(failuresBy[index]) + " failed" : ""),
      ),
    ),
  );
  at("choose-harness").hidden = head.harnesses.length < 2;
  choice.addEventListener("change", () => switchHarness(Number(choice.value)));
}

function switchHarness(index) {
  shownHarness = index;
  at("harness").value = String(index);
  closeCase();
  drawHead();
  onHarness.forEach((draw) => draw());
}

function drawCoverage() {
  drawMap();
  drawHeader();
  drawListing();
  drawUntried();
}

// An address like #case-12 opens that case.
function openFromAddress() {
  const wanted = /^#case-(\d+)$/.exec(location.hash);
  if (!wanted || Number(wanted[1]) >= total) return;
  const index = Number(wanted[1]);
  if (harnessOf(index) !== shownHarness) switchHarness(harnessOf(index));
  const position = view.indexOf(index);
  if (position >= 0) matrix.go(position, { focus: false });
  openCase(index);
}

// Where something failed is where one wants to be.
shownHarness = Math.max(
  0,
  failuresBy.findIndex((number) => number > 0),
);
drawHead();
drawTally();
chooseHarness();
at("harness").value = String(shownHarness);
listenToFilters();
drawFilters();
drawBranches();
showMatrix();
performance.mark("rows");

window.addEventListener("beforeprint", () => {
  printFailures();
  for (const part of document.querySelectorAll("details.byte-table")) part.open = true;
});
window.addEventListener("afterprint", () => at("print-failures").replaceChildren());
onHarness.push(() => {
  if (document.readyState !== "loading") drawCoverage();
});
const narrow = matchMedia("(max-width: 44rem)");
narrow.addEventListener("change", () => {
  showMatrix();
  if (document.readyState !== "loading") drawHeader();
  if (listingRows) listingRows.refresh();
});

// One frame later the rows are on the screen. What lies below comes once the rest of the page has been read.
requestAnimationFrame(() =>
  setTimeout(() => {
    performance.mark("painted");
    if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", drawRest, { once: true });
    else drawRest();
  }),
);

function drawRest() {
  drawCoverage();
  openFromAddress();
  document.documentElement.dataset.ready = "yes";
  const idle = window.requestIdleCallback || ((act) => setTimeout(act, 200));
  idle(() => data("details"));
}
