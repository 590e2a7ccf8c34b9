// How long a mixed batch can still be worked. All it knows stands in the page, so that a reload finds it as it was.

import { counted, said } from "../texts.js";

const TICK = 1000;
const MINUTE = 60_000;
const SOON = 10 * MINUTE; // people need about as long to place what is in the cup: ours, no source's
const BUZZ = { soon: [200, 100, 200], over: [400, 150, 400, 150, 400] };

// The server's clock is right, whatever the phone's says.
const clockFrom = (serverNow) => {
  const ahead = serverNow - Date.now();
  return () => Date.now() + ahead;
};

const stage = (left) => {
  if (left <= 0) return "over";
  return left <= SOON ? "soon" : "good";
};

const two = (number) => String(number).padStart(2, "0");

/** Milliseconds as people read a clock: 1:05:09, 12:30. */
export function spell(span) {
  const seconds = Math.ceil(Math.abs(span) / 1000);
  const [hours, minutes] = [Math.floor(seconds / 3600), Math.floor((seconds % 3600) / 60)];
  const rest = `${two(minutes)}:${two(seconds % 60)}`;
  return hours ? `${hours}:${rest}` : rest;
}

class Clock {
  #name;
  #from;
  #until;
  #now;
  #left;
  #said;
  #bar;
  #stage = "";

  constructor(place) {
    const { batch, mixedAt, workUntil, now } = place.dataset;
    this.place = place;
    this.#name = batch;
    this.#from = Date.parse(mixedAt);
    this.#until = Date.parse(workUntil);
    this.#now = clockFrom(Date.parse(now));
    this.#left = place.querySelector("[data-left]");
    this.#bar = place.querySelector("progress");
    if (this.#bar) this.#bar.hidden = false;
    this.#said = place.querySelector("[role=status]");
  }

  tick() {
    const left = this.#until - this.#now();
    const now = stage(left);
    this.#left.textContent = left > 0 ? said("%(time)s left", { time: spell(left) }) : said("over since %(time)s", { time: spell(left) });
    if (this.#bar) this.#bar.value = Math.max(0, Math.min(1, left / (this.#until - this.#from)));
    if (now === this.#stage) return;
    this.#stage = now;
    this.place.dataset.stage = now;
    this.#tell(now, left);
  }

  // Read out once, when it becomes so, in the reader's own time.
  #tell(now, left) {
    if (now === "good") return;
    this.#said.textContent = now === "soon" ? this.#soon(Math.ceil(left / MINUTE)) : this.#over();
    if (!matchMedia("(prefers-reduced-motion: reduce)").matches) navigator.vibrate?.(BUZZ[now]);
  }

  #soon(count) {
    return counted("%(batch)s: %(count)s minute left.", "%(batch)s: %(count)s minutes left.", { batch: this.#name, count });
  }

  #over() {
    return said("%(batch)s: its work life is over. Place no more of it.", { batch: this.#name });
  }
}

const clocks = [...document.querySelectorAll("[data-work-until]")].map((place) => new Clock(place));
const tick = () => clocks.forEach((clock) => clock.tick());

if (clocks.length) {
  tick();
  setInterval(tick, TICK);
  document.addEventListener("visibilitychange", tick); // a phone that slept is right at once
}
