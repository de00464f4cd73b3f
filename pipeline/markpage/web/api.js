// What the page asks of the program.

/** The program could not be reached: it is not running, or was started anew. */
export class Away extends Error {}

/** The program refused; status and answer tell why. */
export class Refused extends Error {
  constructor(status, said) {
    super(said?.error ?? `the program answered with ${status}`);
    this.status = status;
    this.answer = said;
  }
}

async function ask(path, query, options = {}) {
  const url = new URL(path, location.href);
  for (const [k, v] of Object.entries(query ?? {})) url.searchParams.set(k, v);
  let response;
  try {
    response = await fetch(url, { credentials: 'same-origin', redirect: 'error', ...options });
  } catch (error) {
    if (error.name === 'AbortError') throw error;
    throw new Away('the program is not running');
  }
  if (response.status === 401) throw new Away('the program was started anew: open the address that it printed, then this page goes on');
  return response;
}

async function answer(response) {
  let value = null;
  try {
    value = await response.json();
  } catch {
    if (response.ok) throw new Away('the program went away in the middle of its answer');
  }
  if (!response.ok) throw new Refused(response.status, value);
  return value;
}

export const get = async (path, query, options) => answer(await ask(path, query, options));

export const send = async (method, path, query, body, headers = {}) => answer(await ask(path, query, {
  method,
  headers: { 'Content-Type': 'application/json', ...headers },
  body: body === undefined ? undefined : JSON.stringify(body),
}));

/** Returns the picture of one frame as a blob; beside is set where it will be wanted next, and not now. */
export async function picture(clip, frame, size, signal, beside) {
  const response = await ask('/picture', { clip: clip.path, frame, size, stamp: clip.stamp, ...(beside ? { beside: 1 } : {}) }, { signal });
  if (!response.ok) return answer(response);
  return response.blob();
}

/** Returns the picture of one frame if the program has it ready, else null. */
export async function pictureAtHand(clip, frame, size) {
  const response = await ask('/picture', { clip: clip.path, frame, size, now: 1 });
  return response.status === 200 ? response.blob() : null;
}

/** Where a clip's report is shown, or null where it has none. */
export function reportAddress(group, report) {
  if (!report) return null;
  return `/results/${[...(group === '.' ? [] : group.split('/')), ...report.split('/')].map(encodeURIComponent).join('/')}`;
}

/** Returns the address of a page below a results folder, by its path in the folder served. */
export const resultAddress = (path) => `/results/${path.split('/').map(encodeURIComponent).join('/')}`;
