// Small helpers to build the page. Text always goes in as text, never as
// markup, so no file name can become part of the page.

const svgSpace = 'http://www.w3.org/2000/svg';

const given = new WeakMap(); // The value with which a control was shown; a person may have typed another since.

const inside = (children) => children.flat(Infinity).filter((c) => c !== undefined && c !== null && c !== false);

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === undefined || value === null || value === false) continue;
    if (name === 'value') given.set(node, value);
    // As properties, which renew can hand on. What a listener returns decides nothing.
    if (name.startsWith('on')) node[name] = (e) => { value(e); };
    else if (name === 'value' || name === 'checked' || name === 'disabled' || name === 'textContent') node[name] = value;
    else node.setAttribute(name, value === true ? '' : String(value));
  }
  node.append(...inside(children));
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
  node.replaceChildren(...inside(children));
  return node;
}

/**
 * Shows the children inside node as put does, but keeps every element that has one like it
 * among them: what a person points at, types in or reads stays the same element. A control
 * keeps what was typed where it is to show what it showed before. An element with a
 * function keeps(fresh) stays as it is where that is true.
 */
export function renew(node, ...children) {
  const rest = [...node.childNodes];
  const wanted = inside(children).map((child) => {
    const fresh = child instanceof Node ? child : document.createTextNode(child);
    const at = rest.findIndex((old) => alike(old, fresh));
    return at < 0 ? fresh : take(rest.splice(at, 1)[0], fresh);
  });
  for (const old of rest) old.remove();
  wanted.forEach((child, i) => {
    if (node.childNodes[i] !== child) node.insertBefore(child, node.childNodes[i] ?? null);
  });
  return node;
}

const alike = (a, b) => a.nodeName === b.nodeName && a.id === b.id && a.type === b.type && (a.type !== 'radio' || a.value === b.value);

/** Makes an element that stays like the fresh one. */
function take(old, fresh) {
  if (old.nodeType !== Node.ELEMENT_NODE) {
    if (old.data !== fresh.data) old.data = fresh.data;
    return old;
  }
  if (old.keeps?.(fresh)) return old;
  // What a person has opened stays open.
  for (const { name } of [...old.attributes]) if (!fresh.hasAttribute(name) && name !== 'open') old.removeAttribute(name);
  for (const { name, value } of fresh.attributes) if (old.getAttribute(name) !== value) old.setAttribute(name, value);
  for (const name of ['onclick', 'onchange', 'oninput', 'onkeydown', 'ontoggle']) old[name] = fresh[name];
  if (old.checked !== fresh.checked) old.checked = fresh.checked;
  renew(old, ...fresh.childNodes);
  if (wasGiven(old) !== wasGiven(fresh)) {
    old.value = fresh.value;
    given.set(old, wasGiven(fresh));
  }
  if (old.setCustomValidity) old.setCustomValidity(fresh.validity.customError ? fresh.validationMessage : '');
  return old;
}

/** Returns the value with which a control is shown. */
export const wasGiven = (control) => given.get(control);

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
    const hintId = `${id}-hint`;
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
