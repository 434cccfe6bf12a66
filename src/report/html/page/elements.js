// What the pages use: elements made of texts only.

const at = (id) => document.getElementById(id);

// Makes an element. Children are elements or texts; a text never becomes markup.
function el(tag, properties, ...children) {
  const made = document.createElement(tag);
  for (const [key, value] of Object.entries(properties || {})) {
    if (value === undefined || value === null || value === false) continue;
    if (key === "class") made.className = value;
    else if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value === true ? "" : String(value));
  }
  add(made, children);
  return made;
}

function add(parent, children) {
  for (const child of children.flat(3)) {
    if (child !== undefined && child !== null && child !== false) {
      parent.append(child instanceof Node ? child : String(child));
    }
  }
  return parent;
}

function svg(tag, properties, ...children) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [key, value] of Object.entries(properties || {})) {
    if (value !== undefined && value !== null) made.setAttribute(key, String(value));
  }
  return add(made, children);
}

const fill = (parent, ...children) => {
  parent.replaceChildren();
  return add(parent, children);
};
