// The header map: a grid of the header's bytes, and what the cases did with each.

const MEASURES = [
  ["read-by", "cases that read it"],
  ["decisions", "decisions that hung on it"],
  ["values", "values tried there"],
];
let measure = "read-by";
const short = (number) =>
  number < 1000
    ? String(number)
    : number < 9950
      ? (number / 1000).toFixed(1) + "k"
      : number < 1e6
        ? Math.round(number / 1000) + "k"
        : (number / 1e6).toFixed(1) + "M";
const measured = (byte) => (measure === "values" ? byte.values.length : byte[measure]);

// Values in runs: 00-1F, 41 "A".
function valueRuns(values) {
  const runs = [];
  for (const value of values) {
    const last = runs[runs.length - 1];
    if (last && last[1] + 1 === value) last[1] = value;
    else runs.push([value, value]);
  }
  return runs.flatMap(([first, last]) =>
    first === last
      ? [byteText(first)]
      : last === first + 1
        ? [byteText(first), byteText(last)]
        : [byteText(first) + " to " + byteText(last)],
  );
}

function drawHeader() {
  const found = coverageOf(shownHarness);
  if (!found || found.coverage.header.length === 0) {
    fill(at("header-body"), el("p", { class: "quiet" }, "What the cases did with the header was not recorded."));
    return;
  }
  const { coverage } = found;
  const panel = el(
    "div",
    { class: "byte-panel", "aria-live": "polite" },
    el("p", { class: "quiet" }, "Choose a byte: with a click, or with the arrow keys in the grid."),
  );
  const holder = el("div", {}, headerGrid(coverage, panel));
  const choice = el(
    "select",
    {
      id: "measure",
      onchange: (event) => {
        measure = event.target.value;
        holder.replaceChildren(headerGrid(coverage, panel));
      },
    },
    MEASURES.map(([value, words]) => option(value, words)),
  );
  choice.value = measure;
  const key = el(
    "p",
    { class: "heat-key quiet" },
    "none ",
    [1, 2, 3, 4, 5].map((step) => el("span", { class: "heat-" + step })),
    " most; a dot: none; a frame: a field of the header",
  );
  fill(
    at("header-body"),
    el(
      "div",
      { class: "header-layout" },
      el(
        "div",
        {},
        el("div", { class: "field" }, el("label", { for: "measure" }, "Numbers and shades are"), choice),
        holder,
        key,
        followedNote(coverage),
      ),
      el("div", {}, panel, fieldTable(coverage)),
    ),
    byteTable(coverage),
  );
}

const fieldAt = (coverage, offset) =>
  coverage.fields.find((field) => offset >= field.at && offset < field.at + field.length);

function headerGrid(coverage, panel) {
  const width = matchMedia("(max-width: 44rem)").matches ? 8 : 16;
  const bytes = new Map(coverage.header.map((byte) => [byte.offset, byte]));
  const lines = [...new Set(coverage.header.map((byte) => Math.floor(byte.offset / width)))].sort(
    (one, other) => one - other,
  );
  const most = Math.max(1, ...coverage.header.map(measured));
  const cells = [];
  const rows = lines.map((line) =>
    el(
      "tr",
      { role: "row" },
      el("th", { scope: "row", role: "rowheader" }, offsetText(line * width)),
      Array.from({ length: width }, (_, column) => {
        const offset = line * width + column;
        if (!bytes.has(offset)) return el("td", { role: "gridcell", class: "outside" });
        const cell = byteCell(coverage, bytes.get(offset), width, most);
        cells.push([offset, cell]);
        return cell;
      }),
    ),
  );
  const grid = el(
    "table",
    {
      class: "header-grid",
      role: "grid",
      "aria-label": "Bytes of the header: " + MEASURES.find(([value]) => value === measure)[1],
    },
    el(
      "thead",
      {},
      el(
        "tr",
        { role: "row" },
        el("td", { role: "columnheader", "aria-label": "offset", class: "outside" }),
        Array.from({ length: width }, (_, column) => el("th", { scope: "col", role: "columnheader" }, hex(column, 1))),
      ),
    ),
    el("tbody", {}, rows),
  );
  walkBytes(grid, cells, width, (offset) => showByte(panel, coverage, bytes.get(offset)));
  return grid;
}

function byteCell(coverage, byte, width, most) {
  const number = measured(byte);
  const field = fieldAt(coverage, byte.offset);
  const same = (offset) => fieldAt(coverage, offset) === field;
  const column = byte.offset % width;
  const look = [
    number > 0 && "heat-" + Math.min(5, Math.max(1, Math.ceil((5 * Math.log1p(number)) / Math.log1p(most) - 1e-9))),
  ];
  if (field)
    look.push(
      !same(byte.offset - width) && "top",
      !same(byte.offset + width) && "bottom",
      (column === 0 || !same(byte.offset - 1)) && "left",
      (column === width - 1 || !same(byte.offset + 1)) && "right",
    );
  const name = field && field.at === byte.offset && fieldLabel(field, Math.min(field.length, width - column));
  return el(
    "td",
    { role: "gridcell", tabindex: -1, class: look.filter(Boolean).join(" "), "aria-label": byteLabel(coverage, byte) },
    name,
    el("b", {}, number > 0 ? short(number) : "\u00B7"),
  );
}

// The name runs over the cells of its field, as far as its first line goes.
function fieldLabel(field, cells) {
  const label = el("em", {}, field.name);
  label.style.maxWidth = "calc(" + cells + "00% - 6px)";
  return label;
}

function fieldName(coverage, offset) {
  const field = fieldAt(coverage, offset);
  return field ? field.name + "[" + (offset - field.at) + "]" : "in no field";
}
const byteLabel = (coverage, byte) =>
  [
    offsetText(byte.offset),
    fieldName(coverage, byte.offset),
    byte["read-by"] ? "read by " + counted(byte["read-by"], "case") : "never read",
    counted(byte.decisions, "decision"),
    counted(byte.values.length, "value") + " tried",
  ].join(", ");

function showByte(panel, coverage, byte) {
  const values = byte.values.length === 256 ? "all 256" : valueRuns(byte.values).join(", ") || "none";
  fill(
    panel,
    el("h3", {}, offsetText(byte.offset) + ", " + fieldName(coverage, byte.offset)),
    el(
      "dl",
      { class: "facts" },
      fact("Read by", byte["read-by"] ? count(byte["read-by"]) + " of " + counted(coverage.cases, "case") : "no case"),
      fact("Decisions", count(byte.decisions)),
      fact("Values tried", values),
    ),
  );
}

function walkBytes(grid, cells, width, show) {
  const byOffset = new Map(cells);
  const offsets = cells.map(([offset]) => offset);
  let active = offsets[0];
  byOffset.get(active).tabIndex = 0;
  const go = (offset) => {
    if (!byOffset.has(offset)) return;
    byOffset.get(active).tabIndex = -1;
    active = offset;
    byOffset.get(active).tabIndex = 0;
    byOffset.get(active).focus();
    show(active);
  };
  const lineEnd = (step) => {
    let offset = active;
    while (byOffset.has(offset + step) && Math.floor((offset + step) / width) === Math.floor(active / width))
      offset += step;
    return offset;
  };
  const moves = {
    ArrowRight: () => active + 1,
    ArrowLeft: () => active - 1,
    ArrowDown: () => active + width,
    ArrowUp: () => active - width,
    Home: () => lineEnd(-1),
    End: () => lineEnd(1),
    PageUp: () => offsets[0],
    PageDown: () => offsets[offsets.length - 1],
  };
  grid.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (moves[event.key]) {
      event.preventDefault();
      go(moves[event.key]());
    } else if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      show(active);
    }
  });
  for (const [offset, cell] of cells) cell.addEventListener("click", () => go(offset));
  grid.addEventListener("focusin", (event) => {
    if (event.target === byOffset.get(active)) show(active);
  });
}

function fieldTable(coverage) {
  return (
    coverage.fields.length > 0 &&
    el(
      "div",
      { class: "scroll" },
      el(
        "table",
        { class: "wide-table" },
        el("caption", { class: "sr" }, "Fields of the header"),
        el(
          "thead",
          {},
          el(
            "tr",
            {},
            ["Field", "At", "Bytes", "Read by", "Contents", ""].map((title) =>
              title ? el("th", { scope: "col" }, title) : el("td"),
            ),
          ),
        ),
        el(
          "tbody",
          {},
          coverage.fields.map((field) =>
            el(
              "tr",
              {},
              el("th", { scope: "row" }, field.name),
              el("td", { "data-label": "at" }, el("code", {}, offsetText(field.at))),
              el("td", { "data-label": "bytes" }, field.length),
              el("td", { "data-label": "read by" }, field["read-by"] ? counted(field["read-by"], "case") : "no case"),
              el("td", { "data-label": "contents" }, count(field.contents)),
              el("td", {}, field["never-varied"] ? "never varied" : ""),
            ),
          ),
        ),
      ),
    )
  );
}

function byteTable(coverage) {
  const used = coverage.header.filter((byte) => byte["read-by"] > 0 || byte.decisions > 0);
  return el(
    "details",
    { class: "byte-table" },
    el("summary", {}, "The bytes that were read, as a table"),
    el(
      "table",
      { class: "wide-table" },
      el("caption", { class: "sr" }, "Bytes of the header that were read"),
      el(
        "thead",
        {},
        el(
          "tr",
          {},
          ["Offset", "Field", "Read by", "Decisions", "Values tried"].map((title) => el("th", { scope: "col" }, title)),
        ),
      ),
      el(
        "tbody",
        {},
        used.map((byte) =>
          el(
            "tr",
            {},
            el("th", { scope: "row" }, offsetText(byte.offset)),
            el("td", {}, fieldName(coverage, byte.offset)),
            el("td", { "data-label": "read by" }, count(byte["read-by"])),
            el("td", { "data-label": "decisions" }, count(byte.decisions)),
            el(
              "td",
              { "data-label": "values" },
              byte.values.length === 256 ? "all 256" : valueRuns(byte.values).join(", "),
            ),
          ),
        ),
      ),
    ),
  );
}
