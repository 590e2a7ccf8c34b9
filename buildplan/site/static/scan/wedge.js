// A scanner that types: told from a person by its pace, and by the symbology identifier that it sends first.

import { hasSymbology } from "./codes.js";

export const LONGEST_GAP = 80; // ms between two keys of one read
const FORGET = 1000; // ms after which nothing more of a read comes
const LONGEST = 4000; // characters of one code
// Scanners send the control characters of a code as these keys with Ctrl.
const CONTROL_KEYS = { "]": "\u001d", "^": "\u001e", 6: "\u001e", _: "\u001f", "-": "\u001f", d: "\u0004", D: "\u0004" };

const IDLE = { kind: "idle" };

/**
 * What a row of keys means, key by key. It knows no page and no clock: each key brings its own time.
 *
 * `press(key, time)` answers { kind }: "idle" (a person's key), "start" (maybe a scanner's first), "burst" (a scanner's), "read"
 * with `text` (Enter ended a whole read), "torn" (a read fell apart; `begins`: and the key may start the next), "rest" (what still
 * comes of a torn one).
 */
export class Burst {
  #text = "";
  #last = -Infinity;
  #torn = false;

  press(key, time) {
    const gap = Math.round(time - this.#last); // browsers give the time in steps of their own
    this.#last = time;
    if (this.#torn) return this.#afterTear(key, gap);
    if (this.#text && gap > LONGEST_GAP) return this.#tooLate(key);
    return this.#next(key);
  }

  /** Whether a read has begun and not ended. */
  get open() {
    return hasSymbology(this.#text);
  }

  /** Forget what came so far. */
  reset() {
    this.#text = "";
    this.#torn = false;
  }

  #next(key) {
    const ends = key === "Enter" || key === "Tab";
    if (!this.#text) {
      if (key !== "]") return IDLE;
      this.#text = key;
      return { kind: "start" };
    }
    if (ends) return this.#end();
    if (key.length !== 1) return { kind: "burst" };
    this.#text += key;
    if (this.#text.length > LONGEST || (this.#text.length === 3 && !hasSymbology(this.#text))) {
      this.reset();
      return IDLE;
    }
    return { kind: "burst" };
  }

  #end() {
    const text = this.#text;
    this.reset();
    return hasSymbology(text) && text.length > 3 ? { kind: "read", text } : IDLE;
  }

  #tooLate(key) {
    const fast = hasSymbology(this.#text);
    this.reset();
    const next = key === "]" || !fast ? this.#next(key) : IDLE;
    if (!fast) return next; // a person typed a bracket
    this.#torn = next === IDLE && key !== "Enter" && key !== "Tab";
    return { kind: "torn", begins: next !== IDLE };
  }

  #afterTear(key, gap) {
    if (gap > FORGET || key === "]") {
      this.reset();
      return this.#next(key);
    }
    if (key === "Enter" || key === "Tab") this.reset();
    return { kind: "rest" };
  }
}

/** The character that a key event stands for; "" where it stands for none. */
export function keyOf(event) {
  if (event.ctrlKey && !event.altKey) return CONTROL_KEYS[event.key] ?? "";
  if (event.altKey || event.metaKey) return "";
  return event.key.length === 1 || event.key === "Enter" || event.key === "Tab" ? event.key : "";
}

const WRITES = "textarea, input:not([type=radio], [type=checkbox], [type=file], [type=submit], [type=button])";

/** Listen to the whole page. A read never lands in the field that happens to have the focus: what it typed there is taken back. */
export function listen(target, { read, torn }) {
  const burst = new Burst();
  let field = null;
  let before = "";
  let timer = 0;

  const restore = () => {
    if (field) field.value = before;
    field = null;
  };
  const giveUp = () => {
    if (!burst.open) return;
    burst.reset();
    restore();
    torn();
  };

  const press = (event) => {
    const key = event.isComposing ? "" : keyOf(event);
    if (!key) return;
    clearTimeout(timer);
    timer = setTimeout(giveUp, FORGET);
    const writes = event.target instanceof Element && event.target.matches(WRITES);
    const found = burst.press(key, event.timeStamp);
    if (found.kind === "torn" || found.kind === "read") restore();
    if (found.kind === "start" || found.begins) {
      field = writes ? event.target : null;
      before = writes ? event.target.value : "";
    }
    // In a text field the keys are let through until it is sure that a scanner sends them: a person may type a bracket.
    const person = found.kind === "idle" || (writes && (found.kind === "start" || found.kind === "burst"));
    if (!person || (event.ctrlKey && found.kind === "burst")) event.preventDefault();
    if (found.kind === "read") read(found.text);
    if (found.kind === "torn") torn();
  };
  target.addEventListener("keydown", press, { capture: true });
}
