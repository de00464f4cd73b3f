// Small helpers to build the page. Text always goes in as text, never as
// markup, so no file name can become part of the page.

const svgSpace = 'http://www.w3.org/2000/svg';

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith('on')) node.addEventListener(name.slice(2), value);
    else if (name === 'value' || name === 'checked' || name === 'disabled' || name === 'textContent') node[name] = value;
    else node.setAttribute(name, value === true ? '' : String(value));
  }
  node.append(...children.flat(Infinity).filter((c) => c !== undefined && c !== null && c !== false));
  return node;
}

/** Returns a new HTML element. Attributes that begin with "on" are listeners. */
export function h(tag, attributes, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

/** Returns a new SVG element. */
export function svg(tag, attributes, ...children) {
  return fill(document.createElementNS(svgSpace, tag), attributes, children);
}

/** Replaces everything inside node. */
export function put(node, ...children) {
  node.replaceChildren(...children.flat(Infinity).filter((c) => c !== undefined && c !== null && c !== false));
  return node;
}

/** Returns a button. */
export function button(label, onclick, attributes = {}) {
  return h('button', { type: 'button', onclick, ...attributes }, label);
}

let counter = 0;
/** Returns an id that no other element has. */
export function newId(prefix) {
  counter += 1;
  return `${prefix}-${counter}`;
}

/** Returns a labelled form field: label, control and an optional hint. */
export function field(label, control, hint) {
  const id = control.id || newId('field');
  control.id = id;
  const parts = [h('label', { for: id }, label), control];
  if (hint) {
    const hintId = newId('hint');
    control.setAttribute('aria-describedby', hintId);
    parts.push(h('small', { id: hintId, class: 'hint' }, hint));
  }
  return h('div', { class: 'field' }, parts);
}

/** Returns a group of radio buttons that look like a row of buttons. */
export function choice(legend, name, options, value, onchange) {
  return h('fieldset', { class: 'choice' }, h('legend', {}, legend),
    h('div', { class: 'options' }, options.map(([key, text, picture]) => h('label', {},
      h('input', { type: 'radio', name, value: key, checked: key === value, onchange: () => onchange(key) }),
      h('span', { class: picture ? 'pictured' : undefined }, picture ?? null, text)))));
}

/** Writes a number with a fixed number of decimals and no trailing zeros. */
export function number(value, decimals = 2) {
  return String(Number(value.toFixed(decimals)));
}
