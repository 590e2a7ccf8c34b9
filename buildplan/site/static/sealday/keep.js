// What is typed on a mix card stays in this browser until the server has answered, so that a lost network loses nothing.

import { said } from "../texts.js";

const PREFIX = "rivetloft-mix:";
const PROBE_WAIT = 5000;

const read = (name) => {
  try {
    return JSON.parse(localStorage.getItem(name));
  } catch {
    return null;
  }
};

const write = (name, value) => {
  try {
    localStorage.setItem(name, JSON.stringify(value));
  } catch {
    // a browser that keeps nothing: the form is an ordinary one
  }
};

const drop = (name) => {
  try {
    localStorage.removeItem(name);
  } catch {
    // nothing was kept
  }
};

const kept = () => {
  try {
    return Object.keys(localStorage).filter((name) => name.startsWith(PREFIX));
  } catch {
    return [];
  }
};

/** Forget what the server has: the page names the keys of the batches that it knows. */
function forget(known) {
  for (const name of kept()) if (known.has(read(name)?.values?.key)) drop(name);
}

const fields = (form) => [...form.elements].filter((one) => one.name && one.name !== "csrfmiddlewaretoken" && one.type !== "submit");

/** One mix card's form. Its hidden key is kept with it: sent again after a lost answer it still mixes once. */
class Kept {
  #form;
  #name;
  #told;

  constructor(form) {
    this.#form = form;
    this.#name = PREFIX + form.dataset.keep;
    this.#told = form.querySelector("[role=status]");
    if (!("answered" in form.dataset)) this.#restore(); // an answer of the server's shows what was typed by itself
    form.addEventListener("input", () => this.#keep());
    form.addEventListener("submit", (event) => this.#send(event));
    window.addEventListener("pageshow", () => delete form.dataset.sending);
  }

  // The running time of mixing is kept from when somebody set it, or pressed the button.
  #keep() {
    const said = fields(this.#form).filter((one) => !("now" in one.dataset) || one.dataset.set);
    write(this.#name, { for: this.#form.dataset.for, values: Object.fromEntries(said.map((one) => [one.name, one.value])) });
  }

  #restore() {
    const found = read(this.#name);
    if (!found) return;
    if (found.for !== this.#form.dataset.for) {
      drop(this.#name); // the plan has another product there now
      return;
    }
    for (const one of fields(this.#form)) {
      if (!(one.name in found.values)) continue;
      one.value = found.values[one.name];
      if ("now" in one.dataset) one.dataset.set = "yes";
    }
    this.#tell(said("What you had typed here is back: it wasn't sent yet."));
  }

  // Ask first whether the server can be reached: a browser's own error page would take the card away.
  async #send(event) {
    event.preventDefault();
    if (this.#form.dataset.sending) return;
    this.#form.dataset.sending = "yes";
    for (const one of fields(this.#form)) if ("now" in one.dataset) one.dataset.set = "yes";
    this.#keep();
    if (await this.#reachable()) {
      this.#form.submit();
      return;
    }
    delete this.#form.dataset.sending;
    this.#tell(said("No network: nothing is sent yet. What you typed is kept here; press again when it is back."));
  }

  async #reachable() {
    if (!navigator.onLine) return false;
    try {
      await fetch(this.#form.dataset.probe, { method: "HEAD", cache: "no-store", signal: AbortSignal.timeout(PROBE_WAIT) });
      return true;
    } catch {
      return false;
    }
  }

  #tell(text) {
    if (this.#told) this.#told.textContent = text;
  }
}

/** The time of mixing runs with the clock until it is set, so that an untouched field says when the button was pressed. */
function runTime(field) {
  field.addEventListener("input", () => {
    field.dataset.set = "yes";
  });
  if ("answered" in field.form.dataset) field.dataset.set = "yes";
  const [start, at] = [Date.parse(`${field.value}Z`), Date.now()]; // the workshop's wall clock, read as if it were UTC
  if (Number.isNaN(start)) return;
  setInterval(() => {
    if (!field.dataset.set) field.value = new Date(start + Date.now() - at).toISOString().slice(0, 16);
  }, 5000);
}

const known = document.querySelector("[data-mixed-keys]");
if (known) forget(new Set(known.dataset.mixedKeys.split(" ")));
for (const form of document.querySelectorAll("form[data-keep]")) {
  for (const field of form.querySelectorAll("[data-now]")) runTime(field);
  new Kept(form);
}
