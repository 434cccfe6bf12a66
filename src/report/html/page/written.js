// Such a page says everything without a script. This adds buttons: to copy a case, and to open all of them.

const folds = [...document.querySelectorAll("details.case")];

for (const fold of folds) {
  const code = fold.querySelector(".case-text");
  const said = el("span", { role: "status", class: "quiet" });
  const copy = el(
    "button",
    { type: "button", onclick: () => copyText(code.textContent, code, said) },
    "Copy the case",
    el("span", { class: "sr" }, fold.querySelector("summary .sr").textContent),
  );
  fold.append(el("div", { class: "case-tools" }, copy, said));
}

if (folds.length > 1) {
  const setAll = (open) => () => {
    for (const fold of folds) fold.open = open;
  };
  at("page-tools").append(
    el("button", { type: "button", onclick: setAll(true) }, "Open every case"),
    el("button", { type: "button", onclick: setAll(false) }, "Close every case"),
  );
}

document.documentElement.dataset.ready = "yes";
