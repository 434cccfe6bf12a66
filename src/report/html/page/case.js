// One case: its facts, why it is what it is, its explanation, and how to run it again.

const detail = (index) => expand(data("details").cases[index]);

function fact(name, ...value) {
  return [el("dt", {}, name), el("dd", {}, ...value)];
}

function facts(index, more) {
  const harness = head.harnesses[harnessOf(index)];
  const cycles = table.cycles[index];
  return el(
    "dl",
    { class: "facts" },
    fact("Attached", text("attached", index)),
    fact("Wanted", text("wanted", index)),
    fact(
      "Reached",
      more.reached.text || text("taken", index) + (more.reached.kind ? " (" + more.reached.kind + ")" : ""),
    ),
    fact(
      "Run",
      counted(table.instructions[index], "instruction") +
        ", " +
        counted(cycles, "cycle") +
        (harness.clock ? ", " + time(cycles, harness.clock) : ""),
    ),
    fact(
      "RAM",
      more.fill +
        (more.fills > 1
          ? "; " + count(more["fills-run"]) + " of " + counted(more.fills, "fill") + " had to be run"
          : ""),
    ),
    fact("Case", el("code", {}, text("file", index) + ":" + table.line[index])),
    head.harnesses.length > 1 && fact("Harness", harness.name),
  );
}

function evidenceParts(evidence) {
  const parts = [];
  if (evidence.decided)
    parts.push(
      fact(
        "Decided",
        place(evidence.decided.at, true),
        " ",
        el("code", {}, evidence.decided.instruction),
        evidence.decided.taken ? " branched to " : " went on to ",
        place(evidence.decided.to, true),
      ),
    );
  const compared = evidence.compared;
  if (compared) {
    const value = (number) => (compared.width === 1 ? byteText(number) : "0x" + hex(number, 2 * compared.width));
    parts.push(
      fact(
        "Compared",
        place(compared.at, true),
        " ",
        el("code", {}, compared.instruction),
        " " + compared["found-in"] + " held ",
        el("code", {}, value(compared.found)),
        compared.with === undefined
          ? " " + compared["with-in"]
          : [", compared with ", el("code", {}, value(compared.with)), " " + compared["with-in"]],
      ),
    );
  }
  for (const look of evidence["looked-at"] || []) {
    parts.push(
      fact(
        "Looked at",
        el("code", {}, address(look.address)),
        look.field ? " " + look.field : "",
        look.offset === undefined ? " (open bus)" : " image offset " + offsetText(look.offset),
        ": ",
        el("code", {}, look.hex),
        " ",
        el("code", {}, '"' + look.text + '"'),
      ),
    );
  }
  if (evidence.fill) parts.push(fact("With RAM", evidence.fill));
  return parts.length > 0 ? [el("h4", {}, "Evidence"), el("dl", { class: "facts" }, parts)] : [];
}

function rerun(command) {
  const said = el("span", { role: "status", class: "quiet" });
  const code = el("code", {}, command);
  const copy = el("button", { type: "button", onclick: () => copyText(command, code, said) }, "Copy the command");
  return [el("h4", {}, "Run it again"), el("div", { class: "rerun" }, code, copy, said)];
}

function caseParts(index, more) {
  const verdict = text("verdict", index);
  const reasons = more.verdict.reasons || [];
  return [
    el(
      "div",
      { class: "case-head" },
      el("h3", {}, text("name", index)),
      el("span", { class: "verdict " + (looks[verdict] || "") }, verdict),
    ),
    facts(index, more),
    more.verdict.why && el("p", {}, "Known bug: " + more.verdict.why),
    reasons.length > 0 &&
      el(
        "ul",
        { class: "reasons" },
        reasons.map((reason) => el("li", {}, reason.text)),
      ),
    more.evidence && !more.explanation && evidenceParts(more.evidence),
    more.explanation
      ? explanationParts(more.explanation)
      : el("p", { class: "quiet" }, "This case was run without an explanation."),
    more.rerun && rerun(more.rerun),
  ];
}

// Opens a case; `stay` leaves the keyboard where it is. What is told about it stands at the end of the page.
function openCase(index, how) {
  if (document.readyState === "loading") {
    document.addEventListener("DOMContentLoaded", () => openCase(index, how), { once: true });
    return;
  }
  openCaseIndex = index;
  const position = view.indexOf(index);
  const step = (to) => {
    if (view[to] !== undefined) {
      matrix.go(to, { focus: false });
      openCase(view[to]);
    }
  };
  const walk = el(
    "div",
    { class: "case-walk" },
    el(
      "button",
      {
        type: "button",
        onclick: () => {
          matrix.go(Math.max(0, view.indexOf(index)));
          at("matrix").scrollIntoView({ block: "start" });
        },
      },
      "Back to the matrix",
    ),
    el("button", { type: "button", disabled: position <= 0, onclick: () => step(position - 1) }, "Previous case"),
    el(
      "button",
      { type: "button", disabled: position < 0 || position + 1 >= view.length, onclick: () => step(position + 1) },
      "Next case",
    ),
  );
  fill(at("case-body"), walk, caseParts(index, detail(index)));
  matrix.refresh();
  try {
    history.replaceState(null, "", "#case-" + index);
  } catch {
    /* A page that may not have an address is none the worse. */
  }
  if (!how || !how.stay) focusTitle("case-title");
}

// On paper nobody can open a case, so the first failures are told in full.
const MOST_TOLD = 20;
function printFailures() {
  const failing = view.filter((index) => fails(text("verdict", index)) && index !== openCaseIndex);
  fill(
    at("print-failures"),
    failing.slice(0, MOST_TOLD).map((index) => el("article", {}, caseParts(index, detail(index)))),
    failing.length > MOST_TOLD &&
      el("p", {}, counted(failing.length - MOST_TOLD, "more failure") + " not told in full"),
  );
}

function closeCase() {
  openCaseIndex = -1;
  fill(
    at("case-body"),
    el("p", { class: "quiet" }, "Open a case in the matrix: with a click, or with Enter on its row."),
  );
}
