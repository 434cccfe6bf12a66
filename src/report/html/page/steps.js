// An explanation, step by step. Each kind of step has a function; a step of a kind that this page does not know is shown
// as its data.

// Bytes shown around a difference; texts that go on are cut there.
const MOST_BYTES = 64;

function originText(origin) {
  const span = (first, last, show) => (first === last ? show(first) : show(first) + "-" + show(last));
  switch (origin.origin) {
    case "image":
      return origin.field || "image offset " + span(origin.first, origin.last, offsetText);
    case "port":
      return "port " + origin.port;
    case "ram":
      return "RAM " + span(origin.first, origin.last, address) + ", never written";
    case "open-bus":
      return "open bus " + span(origin.first, origin.last, address);
    default:
      return JSON.stringify(origin);
  }
}
const origins = (list) => (list || []).map(originText).join(", ");
const byOrigins = (list, words) =>
  list && list.length > 0 && el("div", { class: "where" }, words + " " + origins(list));

function went(way) {
  return el(
    "div",
    { class: "went" },
    place(way.at),
    " ",
    el("code", {}, way.instruction),
    way.kept ? (way.taken ? " keeps: it held" : " keeps: it did not hold") : way.taken ? " branched to " : " went on to ",
    way.kept ? null : place(way.to, true),
  );
}

function whose(side) {
  const parts = [el("code", {}, side.whose)];
  if (side.address !== undefined && !side.whose.startsWith("0x"))
    parts.push(" ", el("span", { class: "where" }, "at bus address " + address(side.address)));
  if (side.offset !== undefined && !side.whose.startsWith("image offset"))
    parts.push(" ", el("span", { class: "where" }, "image offset " + offsetText(side.offset)));
  if (side.source) parts.push(" ", el("span", { class: "where" }, side.source));
  return parts;
}

const bytesOf = (side) => (side.hex ? side.hex.split(" ") : []);
const differsAt = (compare) => (compare.equal ? -1 : compare.matched);
const letters = (side) => Array.from(side.text);

// Two texts, byte below byte. The first difference has a frame, a sign and a sentence.
function sideBySide(compare) {
  const [found, wanted] = [bytesOf(compare.found), bytesOf(compare.with)];
  const [foundText, wantedText] = [letters(compare.found), letters(compare.with)];
  const length = Math.max(found.length, wanted.length);
  const differs = differsAt(compare);
  const first =
    length <= MOST_BYTES ? 0 : Math.max(0, Math.min(differs < 0 ? 0 : differs - MOST_BYTES / 2, length - MOST_BYTES));
  const last = Math.min(length, first + MOST_BYTES);
  const compared = compare.compared === undefined ? length : compare.compared;
  const cell = (bytes, texts, index) => (bytes[index] === undefined ? "" : bytes[index] + " " + (texts[index] ?? " "));
  const cells = [];
  for (let index = first; index < last; index++) {
    const look =
      index === differs ? "first-difference" : index >= compared || (differs >= 0 && index > differs) ? "past" : "";
    cells.push(
      el(
        "span",
        { class: look },
        el("span", {}, cell(found, foundText, index)),
        el("span", {}, cell(wanted, wantedText, index)),
        el("span", {}, index === differs ? "\u25B2 " + index : ""),
      ),
    );
  }
  const cut = (number, words) => number > 0 && el("p", { class: "where" }, counted(number, "byte") + " " + words);
  return [
    cut(first, "before, all alike"),
    el(
      "div",
      { class: "bytes", "aria-hidden": true },
      el("span", { class: "names" }, el("span", {}, "found"), el("span", {}, "with"), el("span", {}, "")),
      cells,
    ),
    cut(length - last, "more"),
  ];
}

function differenceText(compare) {
  if (compare.equal) return "all " + counted(compare.compared ?? bytesOf(compare.with).length, "byte") + " agree";
  const index = compare.matched;
  const value = (side) =>
    bytesOf(side)[index] === undefined ? "nothing" : byteText(parseInt(bytesOf(side)[index], 16));
  return (
    (index === 0
      ? "the first byte differs"
      : counted(index, "byte") + (index === 1 ? " agrees" : " agree") + ", then " + (compare.difference || "byte " + index) + " differs") +
    ": found " +
    value(compare.found) +
    ", compared with " +
    value(compare.with) +
    (compare.stored === undefined
      ? ""
      : "; the image holds " + byteText(compare.stored) + ", a contact fault made something else of it")
  );
}

function compareStep(step) {
  return [
    line("Compared", place(step.at, true), el("code", {}, step.instruction)),
    el("div", {}, "found ", whose(step.found), el("span", { class: "sr" }, ' "' + step.found.text + '"')),
    el("div", {}, "with ", whose(step.with), el("span", { class: "sr" }, ' "' + step.with.text + '"')),
    sideBySide(step),
    el("div", {}, differenceText(step)),
    went(step.went),
  ];
}

// One line an entry.
function scanStep(step) {
  const first = step.entries[0];
  const rows = step.entries.map((entry, index) =>
    el(
      "tr",
      { class: step.matched === index ? "matched-entry" : "" },
      el("td", { class: "number", "data-label": "entry" }, index),
      el("td", {}, whose(entry.with)),
      el("td", {}, el("code", {}, entry.with.text)),
      el("td", {}, (step.matched === index ? "\u2713 " : "") + differenceText(entry)),
    ),
  );
  return [
    line("Looked through a table", first && place(first.at, true), first && el("code", {}, first.instruction)),
    first && el("div", {}, "found ", whose(first.found), " ", el("code", {}, first.found.text)),
    el(
      "div",
      { class: "scroll" },
      el(
        "table",
        { class: "scan wide-table" },
        el("caption", { class: "sr" }, "Entries of the table"),
        el(
          "thead",
          {},
          el(
            "tr",
            {},
            ["Entry", "Whose", "Text", "Result"].map((title) => el("th", { scope: "col" }, title)),
          ),
        ),
        el("tbody", {}, rows),
      ),
    ),
    el("div", {}, step.matched === undefined ? "no entry agreed" : "entry " + step.matched + " agreed"),
    step.entries.length > 0 && went(step.entries[step.entries.length - 1].went),
  ];
}

function valueText(value, width) {
  const digits = 2 * (width || 4);
  const from = origins(value.from);
  return [
    el("code", {}, "0x" + hex(value.value, value.value > 0xffff ? 8 : Math.min(digits, 8))),
    " in ",
    el("code", {}, value["held-in"]),
    from && from !== value["held-in"] ? el("span", { class: "where" }, " from " + from) : null,
  ];
}

function testStep(step) {
  return [
    line(
      step.times > 1 ? "Tested " + count(step.times) + " times" : "Tested",
      place(step.at, true),
      el("code", {}, step.instruction),
    ),
    el("div", {}, "found ", valueText(step.found, step.width)),
    step.mask !== undefined &&
      el(
        "div",
        {},
        "of it the bits ",
        el("code", {}, "0x" + hex(step.mask, 2 * step.width)),
        ": ",
        el("code", {}, "0x" + hex(step.found.value & step.mask, 2 * step.width)),
      ),
    step.with && el("div", {}, "compared with ", valueText(step.with, step.width)),
    byOrigins(step.by, "in all it hangs on"),
    went(step.went),
  ];
}

const STEPS = {
  compare: compareStep,
  scan: scanStep,
  test: testStep,
  jump: (step) => [
    line("Jumped to a computed address", place(step.at, true), el("code", {}, step.instruction)),
    el("div", {}, "to ", place(step.to, true)),
    byOrigins(step.by, "the address comes from"),
  ],
  lookup: (step) => [
    line(
      (step.writes ? "Stored" : "Looked up") + (step.times > 1 ? " " + count(step.times) + " times" : ""),
      place(step.at, true),
      el("code", {}, step.instruction),
    ),
    el(
      "div",
      {},
      el("code", {}, step.place),
      step.writes
        ? " was written"
        : step.value === undefined
          ? " could not be accessed"
          : [" held ", el("code", {}, "0x" + hex(step.value, 2 * step.width))],
    ),
    byOrigins(step.by, "the address comes from"),
  ],
  write: (step) => [
    line("Wrote to a port", place(step.at, true)),
    el("div", {}, "port ", el("code", {}, step.port), " = ", el("code", {}, "0x" + hex(step.value, 2))),
    step.effect && el("div", {}, step.effect),
    byOrigins(step.from, "the value comes from"),
  ],
  exception: (step) => [
    line((step.raised ? "Exception: " : "Exception not raised: ") + step.name + (step.times > 1 ? ", " + count(step.times) + " times" : "")),
    el("div", {}, "from ", place(step.from, true)),
    step.raised && el("div", {}, step.to ? ["handled at ", place(step.to, true)] : "no handler took it"),
    byOrigins(step.by, "it comes from"),
  ],
  told: (step) => [
    line("Branch told by a cell"),
    el(
      "div",
      {},
      el("code", {}, step.branch),
      " is told by ",
      valueText(step.found),
      ", which must be ",
      el("code", {}, "0x" + hex(step.is, 2)),
    ),
  ],
  omitted: (step) => [el("span", { class: "quiet" }, counted(step.decisions, "decision") + " left out here")],
};

function line(words, ...rest) {
  return el(
    "div",
    {},
    el("span", { class: "what" }, words),
    rest.filter(Boolean).map((part) => [" ", part]),
  );
}

function stepItem(step) {
  const tell = STEPS[step.step] || ((unknown) => [line(unknown.step), el("code", {}, JSON.stringify(unknown))]);
  return el("li", {}, tell(step));
}

function changeText(change) {
  if (change.change === "port") return "port " + change.port + " reads 0x" + hex(change.instead, 2);
  return (
    (change.field || "image offset " + offsetText(change.offset)) +
    " = " +
    byteText(change.instead) +
    " instead of " +
    byteText(change.is)
  );
}

// Bytes that follow each other are told as one text.
function changesText(changes) {
  const runs = [];
  for (const change of changes) {
    const last = runs[runs.length - 1];
    const follows =
      last &&
      change.change === "byte" &&
      last[0].change === "byte" &&
      last[last.length - 1].offset + 1 === change.offset;
    if (follows) last.push(change);
    else runs.push([change]);
  }
  return runs.map((run) => (run.length === 1 ? changeText(run[0]) : runText(run))).join(" and ");
}

function runText(run) {
  const [first, last] = [run[0], run[run.length - 1]];
  const name = (change) => change.field || "image offset " + offsetText(change.offset);
  const bytes = (key) => run.map((change) => hex(change[key], 2)).join(" ");
  const shown = (key) =>
    '"' +
    run.map((change) => (change[key] >= 0x20 && change[key] < 0x7f ? String.fromCharCode(change[key]) : ".")).join("") +
    '"';
  return (
    name(first) +
    " to " +
    name(last) +
    " = " +
    bytes("instead") +
    " " +
    shown("instead") +
    " instead of " +
    bytes("is") +
    " " +
    shown("is")
  );
}

function explanationParts(explanation) {
  const nearest = explanation.nearest || [];
  const influence = explanation.influence || { of: [] };
  return [
    el("h4", {}, "What decided"),
    explanation.steps.length > 0
      ? el("ol", { class: "steps" }, explanation.steps.map(stepItem))
      : el("p", {}, "Nothing from outside decided anything."),
    el("p", {}, el("strong", {}, explanation.ended)),
    el("h4", {}, "Nearest other ends"),
    nearest.length > 0
      ? el(
          "ul",
          {},
          nearest.map((near) =>
            el("li", {}, changesText(near.changes), ": ", near.would, ", and ends in ", el("code", {}, near.ends)),
          ),
        )
      : el("p", { class: "quiet" }, "No small change was found that ends otherwise."),
    el("h4", {}, "What had influence"),
    influence.of.length > 0
      ? el(
          "ul",
          {},
          influence.of.map((origin) => el("li", {}, originText(origin))),
        )
      : el("p", { class: "quiet" }, "Nothing from outside."),
  ];
}
