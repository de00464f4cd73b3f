// Watches the measuring of clips as the program tells it.

/** Calls each with the jobs at every change. Returns a function that stops. */
export function watch(each) {
  const source = new EventSource('/api/progress');
  source.addEventListener('message', (e) => each(JSON.parse(e.data)));
  return () => source.close();
}
