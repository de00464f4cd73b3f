// How handlers' phones get in: the code to scan, what the browser will ask, and
// taking the code back.

import { h, put, button, svg } from './dom.js';
import { get, send } from './api.js';

/** Opens the page of the handlers' code. */
export async function openPhones(main, _path, { setCrumbs }) {
  setCrumbs(null, 'Handlers’ phones');
  let answer = await get('/api/phones');
  const status = h('p', { class: 'message', role: 'status', 'aria-live': 'polite' });
  const body = h('div', {});
  const shut = (what, path, done) => button(what, async () => {
    try {
      answer = await send('POST', path, {});
      refill();
      status.textContent = done;
    } catch (error) {
      status.textContent = error.message;
    }
  }, { id: path.slice(5).replace('/', '-') });
  const refill = () => {
    if (!answer.open) {
      put(body,
        h('p', {}, 'This computer lets no phone in. Stop the program and start it with ', h('code', {}, '--remote'), ':'),
        h('p', {}, h('code', { class: 'command' }, 'jogstrip mark --remote FOLDER')),
        h('p', {}, 'Then a code is shown here. A handler scans it with the phone, gets the film guide, and sends clips straight into the visit’s folder; seconds later the phone says whether a clip is good or is to be filmed again.'));
      return;
    }
    const { code } = answer;
    put(body,
      h('div', { class: 'letin' },
        svg('svg', { viewBox: `0 0 ${code.size} ${code.size}`, class: 'qr', role: 'img', 'aria-label': 'Code with the address for phones', 'shape-rendering': 'crispEdges' },
          svg('rect', { width: code.size, height: code.size, fill: '#fff' }), svg('path', { d: code.path, fill: '#000' })),
        h('div', {},
          h('ol', { class: 'todo' },
            h('li', {}, 'The phone is in the same network as this computer.'),
            h('li', {}, 'Point the phone’s camera at the code and open the address.'),
            code.fingerprint ? h('li', {}, 'The browser says that the connection is not private: no authority vouches for a computer in a barn. Open the details there, look at the certificate’s SHA-256 fingerprint, and go on only if it is this one:',
              h('p', { class: 'print', id: 'fingerprint' }, code.fingerprint.split(':').join(' '))) : null,
            h('li', {}, 'Read how to film, choose the horse, send the clips.')),
          code.fingerprint ? null : h('p', { class: 'notice warn' }, 'Nothing is encrypted, as was asked for: others in the network can read along.'),
          h('p', {}, 'The address in letters: ', h('a', { href: code.address, id: 'phone-address', rel: 'noopener' }, code.address)),
          h('p', { class: 'hint' }, 'This code opens the film guide and sending clips, and nothing else: no record, no clip, no result. Phones that came in once stay in until it is taken back.'),
          h('div', { class: 'actions' }, shut('Take the code back: every phone is out', '/api/phones/renew', 'The old code no longer opens anything. Phones have to scan the new one.')))),
      h('section', { class: 'card', 'aria-labelledby': 'own' }, h('h2', { id: 'own' }, 'A tablet of your own'),
        h('p', {}, 'This address opens the whole marks page, records included. Give it to nobody:'),
        h('p', { class: 'print', id: 'own-address' }, answer.own),
        h('div', { class: 'actions' }, shut('Take it back: every other browser is out', '/api/renew', 'Every browser but this one is out. The address above is the new one.'))));
  };
  refill();
  put(main, h('h1', {}, 'Handlers’ phones'), status, body);
  return null;
}
