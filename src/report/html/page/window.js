// A long list of rows of which only the visible ones are in the page. The row that the keyboard is on always is.

const OVERSCAN = 6;
const MOST_PRINTED = 2000;

// `options`: label, columns [{key, title, sort, number}], count(), row(index) -> [class, cells], opens(index), printed(most).
function makeRows(parent, options) {
  let active = 0;
  let rows = new Map();
  let everything = null;
  const whole = el("div", { class: "whole", role: "rowgroup" });
  const view = el("div", { class: "view", role: "presentation", tabindex: -1 }, whole);
  const titles = el("div", { class: "titles", role: "row", "aria-rowindex": 1 }, options.columns.map(titleOf));
  const grid = el(
    "div",
    { role: "grid", "aria-label": options.label, "aria-colcount": options.columns.length, "aria-readonly": true },
    el("div", { role: "rowgroup" }, titles),
    view,
  );
  const empty = el("p", { class: "empty quiet", hidden: true }, options.empty || "");
  fill(parent, grid, empty);

  function titleOf(column) {
    const inner =
      options.sort && column.title
        ? el(
            "button",
            { type: "button", onclick: () => options.sort(column.key) },
            column.title,
            el("span", { "aria-hidden": true, class: "arrow" }),
          )
        : column.title || el("span", { class: "sr" }, column.spoken || "");
    return el(
      "div",
      { role: "columnheader", "data-key": column.key, class: "cell-" + column.key + (column.number ? " number" : "") },
      inner,
    );
  }

  const height = () => parseFloat(getComputedStyle(parent).getPropertyValue("--row")) || 30;

  function make(index) {
    const [look, cells] = options.row(index);
    const row = el(
      "div",
      {
        role: "row",
        class: look,
        "aria-rowindex": index + 2,
        "data-index": index,
        tabindex: index === active ? 0 : -1,
        "aria-selected": options.chosen ? String(options.chosen(index)) : undefined,
      },
      cells.map((cell, number) => {
        const column = options.columns[number];
        return el(
          "div",
          {
            role: "gridcell",
            "aria-colindex": number + 1,
            class: "cell-" + column.key + (column.number ? " number" : ""),
          },
          cell,
        );
      }),
    );
    row.style.top = index * height() + "px";
    return row;
  }

  // Brings the page in line with what is scrolled to.
  function draw() {
    if (everything) return;
    const total = options.count();
    const tall = height();
    const first = Math.max(0, Math.floor(view.scrollTop / tall) - OVERSCAN);
    const last = Math.min(total - 1, Math.ceil((view.scrollTop + view.clientHeight) / tall) + OVERSCAN);
    const wanted = new Set();
    for (let index = first; index <= last; index++) wanted.add(index);
    if (total > 0) wanted.add(Math.min(active, total - 1));
    for (const [index, row] of rows) {
      if (!wanted.has(index)) {
        row.remove();
        rows.delete(index);
      }
    }
    for (const index of [...wanted].sort((one, other) => one - other)) {
      if (!rows.has(index)) {
        const row = make(index);
        const after = [...whole.children].find((child) => Number(child.dataset.index) > index);
        whole.insertBefore(row, after || null);
        rows.set(index, row);
      }
    }
  }

  function refresh() {
    const total = options.count();
    const focused = whole.contains(document.activeElement);
    active = Math.max(0, Math.min(active, total - 1));
    rows.forEach((row) => row.remove());
    rows = new Map();
    whole.style.height = total * height() + "px";
    view.style.setProperty("--rows", total);
    grid.setAttribute("aria-rowcount", total + 1);
    empty.hidden = total > 0;
    grid.hidden = total === 0;
    for (const title of titles.children) {
      const order = options.order ? options.order(title.dataset.key) : null;
      if (order) title.setAttribute("aria-sort", order);
      else title.removeAttribute("aria-sort");
      const arrow = title.querySelector(".arrow");
      if (arrow) arrow.textContent = order === "ascending" ? " \u25B2" : order === "descending" ? " \u25BC" : "";
    }
    draw();
    if (focused && total > 0) rows.get(active).focus({ preventScroll: true });
  }

  function reveal(index) {
    const tall = height();
    const top = index * tall;
    const over = view.scrollTop - top,
      under = top + tall - view.scrollTop - view.clientHeight;
    // What is far away comes to the middle, with its surroundings.
    if (over > 2 * tall || under > 2 * tall) view.scrollTop = top - (view.clientHeight - tall) / 2;
    else if (over > 0) view.scrollTop = top;
    else if (under > 0) view.scrollTop += under;
  }

  // Moves to a row, and the keyboard with it.
  function go(index, options_) {
    const total = options.count();
    if (total === 0) return;
    const before = rows.get(active);
    if (before) before.tabIndex = -1;
    active = Math.max(0, Math.min(index, total - 1));
    reveal(active);
    draw();
    const row = rows.get(active);
    row.tabIndex = 0;
    if (!options_ || options_.focus !== false) row.focus({ preventScroll: true });
  }

  const page = () => Math.max(1, Math.floor(view.clientHeight / height()) - 1);
  const moves = {
    ArrowDown: () => active + 1,
    ArrowUp: () => active - 1,
    PageDown: () => active + page(),
    PageUp: () => active - page(),
    Home: () => 0,
    End: () => options.count() - 1,
  };
  whole.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("button, a")) return;
    if (moves[event.key]) {
      event.preventDefault();
      go(moves[event.key]());
    } else if ((event.key === "Enter" || event.key === " ") && options.opens) {
      event.preventDefault();
      options.opens(active);
    }
  });
  whole.addEventListener("click", (event) => {
    const row = event.target.closest("[role=row]");
    if (!row || event.target.closest("button, a")) return;
    go(Number(row.dataset.index));
    if (options.opens) options.opens(active);
  });
  view.addEventListener("scroll", draw, { passive: true });
  new ResizeObserver(() => {
    if (!everything) refresh();
  }).observe(view);

  // For print, as many rows as there is any use in; says how many are left out.
  const left = el("p", { class: "print-only" });
  parent.after(left);
  window.addEventListener("beforeprint", () => {
    const [printed, leftOut] = options.printed ? options.printed(MOST_PRINTED) : plain();
    everything = printed.map(make);
    whole.replaceChildren(...everything);
    left.textContent =
      leftOut > 0
        ? count(leftOut) + " more are not printed; none of them failed unless " + count(MOST_PRINTED) + " rows did."
        : "";
  });
  window.addEventListener("afterprint", () => {
    everything = null;
    whole.replaceChildren();
    left.textContent = "";
    refresh();
  });
  function plain() {
    const total = options.count();
    const printed = Math.min(total, MOST_PRINTED);
    return [Array.from({ length: printed }, (_, index) => index), total - printed];
  }

  return { refresh, go, draw, active: () => active };
}
