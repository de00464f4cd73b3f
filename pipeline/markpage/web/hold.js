// Panels are rebuilt when something changes, but never under a person's hands: a
// text that is being typed keeps its field, and a button that is being pressed
// is still there when the finger lifts.

const typed = 'input:not([type=range]):not([type=radio]):not([type=checkbox]), textarea, select';

/** Hold runs a rebuilding, at once or as soon as nobody is typing in the panel or pressing anything. */
export class Hold {
  constructor(panel) {
    this.panel = panel;
    this.pressed = false;
    this.waiting = null;
    this.ends = new AbortController();
    const on = (name, f) => document.addEventListener(name, f, { capture: true, signal: this.ends.signal });
    const release = (ms) => {
      clearTimeout(this.timer);
      this.timer = setTimeout(() => {
        this.pressed = false;
        this.go();
      }, ms);
    };
    on('pointerdown', () => {
      clearTimeout(this.timer);
      this.pressed = true;
    });
    // A click follows at once with a mouse, a moment later with a finger.
    on('pointerup', (e) => release(e.pointerType === 'mouse' ? 0 : 400));
    on('pointercancel', () => release(0));
    on('click', () => release(0));
    panel.addEventListener('focusout', () => setTimeout(() => this.go(), 0), { signal: this.ends.signal });
  }

  get typing() { return this.panel.contains(document.activeElement) && document.activeElement.matches(typed); }

  run(rebuild) {
    this.waiting = rebuild;
    this.go();
  }

  go() {
    if (!this.waiting || this.pressed || this.typing) return;
    const rebuild = this.waiting;
    this.waiting = null;
    rebuild();
  }

  close() {
    this.ends.abort();
    clearTimeout(this.timer);
    this.waiting = null;
  }
}
