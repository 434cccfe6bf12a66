// The decision map: nodes and lines as the tool placed them. Each kind of node has a shape of its own.

const KINDS = {
  entry: "entry",
  handler: "handler of an interrupt",
  decision: "decision",
  jump: "computed jump",
  branch: "branch",
  other: "other end",
};

function shapeOf(kind, x, y, width, height) {
  const points = (...list) =>
    svg("polygon", { class: "shape", points: list.map(([dx, dy]) => x + dx + "," + (y + dy)).join(" ") });
  const bevel = 12;
  switch (kind) {
    case "entry":
    case "handler":
      return [svg("rect", { class: "shape", x, y, width, height, rx: height / 2 })];
    case "jump":
      return [points([bevel, 0], [width, 0], [width - bevel, height], [0, height])];
    case "branch":
      return [
        svg("rect", { class: "shape", x, y, width, height }),
        svg("rect", { class: "shape-inner", x: x + 4, y: y + 4, width: width - 8, height: height - 8 }),
      ];
    case "other":
      return [
        points(
          [0, 0],
          [width, 0],
          [width, height - bevel],
          [width - bevel, height],
          [bevel, height],
          [0, height - bevel],
        ),
      ];
    default:
      return [
        points(
          [bevel, 0],
          [width - bevel, 0],
          [width, height / 2],
          [width - bevel, height],
          [bevel, height],
          [0, height / 2],
        ),
      ];
  }
}

const nodeName = (node) =>
  node.name + (node.at && node.at.symbol !== node.name ? " at " + address(node.at.address) : "");
const wayText = (edge) => (edge.taken === undefined ? "goes on" : edge.taken ? "branches" : "goes on");

// The arrow's head: down into the upper side of a node, or from the right into its side.
function tip(edge) {
  const [x, y] = edge.tip;
  const size = 3.5 + edge.width;
  const corners = edge.back
    ? [
        [x, y],
        [x + 9, y - size],
        [x + 9, y + size],
      ]
    : [
        [x, y],
        [x - size, y - 9],
        [x + size, y - 9],
      ];
  return svg("polygon", { class: "tip", points: corners.map((corner) => corner.join(",")).join(" ") });
}

function drawMap() {
  const found = coverageOf(shownHarness);
  if (!found || found.coverage.map.nodes.length === 0) {
    fill(at("map-body"), el("p", { class: "quiet" }, "The decisions of this harness were not recorded."));
    return;
  }
  const { map } = found.coverage;
  const { layout } = found;
  const edges = map.edges.map((edge, index) => drawEdge(map, edge, layout.edges[index]));
  const labels = map.edges.map((edge, index) => drawLabel(edge, layout.edges[index]));
  const nodes = map.nodes.map((node, index) => drawNode(map, node, layout.nodes[index], index));
  const picture = svg(
    "svg",
    {
      width: layout.width,
      height: layout.height,
      viewBox: "0 0 " + layout.width + " " + layout.height,
      role: "group",
      "aria-label": "Decisions from the entry to the branches",
    },
    edges,
    labels,
    nodes,
  );
  const frame = el(
    "div",
    { class: "map-frame", tabindex: 0, role: "region", "aria-label": "Decision map, may be scrolled" },
    picture,
  );
  fill(at("map-body"), mapTools(picture, frame, layout), frame, edgeTable(map));
  const entry = layout.nodes[0];
  frame.scrollLeft = entry.x + entry.width / 2 - frame.clientWidth / 2;
  walkNodes(nodes, layout);
}

function drawEdge(map, edge, placed) {
  if (!placed) return null;
  const words =
    map.nodes[edge.from].name +
    " " +
    wayText(edge) +
    " to " +
    map.nodes[edge.to].name +
    ": " +
    (edge.cases ? counted(edge.cases, "case") : "never");
  return svg(
    "g",
    { "aria-hidden": true },
    svg("title", {}, words),
    svg("path", { class: "map-edge" + (edge.cases ? "" : " never"), d: placed.d, "stroke-width": placed.width }),
    tip(placed),
  );
}

// How many cases took an edge, beside where it leaves its node.
function drawLabel(edge, placed) {
  if (!placed) return null;
  const label = svg(
    "text",
    { class: "count", x: placed.label[0], y: placed.label[1], "aria-hidden": true },
    (edge.taken === undefined ? "" : edge.taken ? "branch " : "on ") + (edge.cases ? count(edge.cases) : "never"),
  );
  label.style.textAnchor = placed["label-ends"] ? "end" : "start";
  return label;
}

function drawNode(map, node, placed, index) {
  const ends = node.kind === "branch" || node.kind === "other";
  const does = ends ? "show its cases in the matrix" : node.at ? "show it in the listing" : "";
  const label =
    [KINDS[node.kind] || node.kind, nodeName(node), node.instruction, counted(node.cases, "case")]
      .filter(Boolean)
      .join(", ") + (does ? "; " + does : "");
  const middle = placed.x + placed.width / 2;
  const start = placed.y + (placed.lines.length === 3 ? 19 : 26);
  const texts = placed.lines.map((words, row) =>
    svg(
      "text",
      { class: ["name", "second", "third"][row], x: middle, y: start + 15 * row, "aria-hidden": true },
      words,
    ),
  );
  const made = svg(
    "g",
    {
      class: "node " + node.kind + "-node" + (node.cases ? "" : " never-node"),
      tabindex: index === 0 ? 0 : -1,
      role: does ? "button" : "img",
      "aria-label": label,
      "data-index": index,
    },
    svg("title", {}, label),
    shapeOf(node.kind, placed.x, placed.y, placed.width, placed.height),
    texts,
  );
  const act = () => {
    if (ends) {
      setFilter({ branch: "name:" + node.name, verdict: "", text: "" });
      focusTitle("matrix-title");
    } else if (node.at) showInListing(node.at.address);
  };
  made.addEventListener("click", act);
  made.addEventListener("keydown", (event) => {
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      act();
    }
  });
  return made;
}

// One stop for the Tab key; the arrow keys walk from rank to rank and within a rank.
function walkNodes(nodes, layout) {
  const middle = (index) => layout.nodes[index].x + layout.nodes[index].width / 2;
  const near = (from, indices) =>
    indices.sort(
      (one, other) => Math.abs(middle(one) - middle(from)) - Math.abs(middle(other) - middle(from)) || one - other,
    )[0];
  const inRank = (rank) => layout.nodes.map((_, index) => index).filter((index) => layout.nodes[index].rank === rank);
  const deepest = Math.max(...layout.nodes.map((node) => node.rank));
  nodes.forEach((node, index) =>
    node.addEventListener("keydown", (event) => {
      const { rank } = layout.nodes[index];
      let to;
      if (event.key === "ArrowDown") to = near(index, inRank(rank + 1));
      else if (event.key === "ArrowUp") to = near(index, inRank(rank - 1));
      else if (event.key === "ArrowRight")
        to = near(
          index,
          inRank(rank).filter((other) => middle(other) > middle(index)),
        );
      else if (event.key === "ArrowLeft")
        to = near(
          index,
          inRank(rank).filter((other) => middle(other) < middle(index)),
        );
      else if (event.key === "Home") to = 0;
      else if (event.key === "End") to = near(index, inRank(deepest));
      else return;
      event.preventDefault();
      if (to === undefined) return;
      node.setAttribute("tabindex", -1);
      nodes[to].setAttribute("tabindex", 0);
      nodes[to].focus({ preventScroll: true });
      nodes[to].scrollIntoView({ block: "nearest", inline: "nearest" });
    }),
  );
}

function mapTools(picture, frame, layout) {
  let size = 1;
  const resize = (to) => {
    size = Math.max(0.2, Math.min(3, to));
    picture.setAttribute("width", Math.round(layout.width * size));
    picture.setAttribute("height", Math.round(layout.height * size));
  };
  const tool = (words, act) => el("button", { type: "button", onclick: act }, words);
  const sample = (look) =>
    svg(
      "svg",
      { width: 34, height: 10, "aria-hidden": true },
      svg("path", { class: "map-edge " + look, d: "M2 5H32", "stroke-width": look ? 1.5 : 5 }),
    );
  return el(
    "div",
    { class: "map-tools" },
    tool("Smaller", () => resize(size / 1.25)),
    tool("Larger", () => resize(size * 1.25)),
    tool("Real size", () => resize(1)),
    tool("Whole map", () => resize(Math.min(1, (frame.clientWidth - 4) / layout.width))),
    el("span", { class: "key" }, sample(""), "the thicker, the more cases"),
    el("span", { class: "key" }, sample("never"), "never taken"),
  );
}

function edgeTable(map) {
  const rows = map.edges
    .filter((edge) => map.nodes[edge.from] && map.nodes[edge.to])
    .map((edge) =>
      el(
        "tr",
        {},
        el("td", {}, nodeName(map.nodes[edge.from])),
        el("td", {}, wayText(edge)),
        el("td", {}, nodeName(map.nodes[edge.to])),
        el("td", { class: "number" }, edge.cases ? count(edge.cases) : "never"),
      ),
    );
  return el(
    "details",
    {},
    el("summary", {}, "The decision map as a table"),
    el(
      "div",
      { class: "scroll" },
      el(
        "table",
        {},
        el("caption", { class: "sr" }, "Edges of the decision map"),
        el(
          "thead",
          {},
          el(
            "tr",
            {},
            ["From", "Way", "To", "Cases"].map((title, index) =>
              el("th", { scope: "col", class: index === 3 ? "number" : "" }, title),
            ),
          ),
        ),
        el("tbody", {}, rows),
      ),
    ),
  );
}
