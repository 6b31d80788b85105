// SPDX-License-Identifier: MIT
// The one way in which pages make elements. Text is set as text, never as markup;
// whatever comes from a school can only ever be read.

const SVG = "http://www.w3.org/2000/svg";

// props: attributes by name; class, dataset, on (listeners by event), and properties
// that only exist as such (value, checked, hidden, disabled, ...). null, undefined and
// false leave an attribute away, true sets it empty.
function dress(node, props) {
  for (const [name, value] of Object.entries(props)) {
    if (value === null || value === undefined) continue;
    if (name === "on") for (const [event, listener] of Object.entries(value)) node.addEventListener(event, listener);
    else if (name === "dataset") Object.assign(node.dataset, value);
    else if (name === "value" || name === "checked") node[name] = value;
    else if (value !== false) node.setAttribute(name, value === true ? "" : value);
  }
}

const children = (list) => list.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false);

// An element: h("p", {class: "notice"}, "text", node, [more]).
export function h(name, props = {}, ...content) {
  const node = document.createElement(name);
  dress(node, props);
  node.append(...children(content));
  return node;
}

// The same within a drawing.
export function s(name, props = {}, ...content) {
  const node = document.createElementNS(SVG, name);
  dress(node, props);
  node.append(...children(content));
  return node;
}

export const byId = (id) => document.getElementById(id);

export function fill(node, ...content) {
  node.replaceChildren(...children(content));
  return node;
}
