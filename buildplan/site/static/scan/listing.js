// The outbox on the page: how many wait, and what became of the last ones.

import { asked, told } from "./answers.js";
import { shown } from "./codes.js";
import { counted, said } from "../texts.js";

const MOST = 30; // confirmed scans on the page; what waits or was refused is shown whole
const WHY = {
  offline: said("No network: they go out by themselves when it is back."),
  "signed out": said("You are signed out: sign in again to send them."),
  busy: said("The site doesn't answer just now: it is tried again."),
};
const $ = (id) => document.getElementById(id);

const element = (name, text, properties = {}) => Object.assign(document.createElement(name), { textContent: text, ...properties });

function button(words, code, press) {
  const made = element("button", words, { type: "button", className: "plain" });
  made.append(element("span", `: ${code}`, { className: "away" }));
  made.addEventListener("click", press);
  return made;
}

/** Shows the scans of one person; of others only that they wait. */
export class Listing {
  #owner;
  #addresses;
  #clear;
  #retry;

  constructor({ owner, addresses, clear, retry }) {
    this.#owner = owner;
    this.#addresses = addresses;
    this.#clear = clear;
    this.#retry = retry;
  }

  /** Show `rows`, oldest first as the outbox gives them. */
  show(rows) {
    const mine = rows.filter((row) => row.user === this.#owner.user);
    const count = (...states) => mine.filter((row) => states.includes(row.state)).length;
    const [waiting, refused] = [count("waiting"), count("refused", "unknown", "conflict")];
    const counts = { waiting, sent: count("done", "undone"), refused };
    $("outbox-counts").textContent = said("%(waiting)s waiting, %(sent)s sent, %(refused)s refused", counts);
    $("outbox-state").classList.toggle("wrong", refused > 0);
    if (!waiting) this.stopped(null);
    this.#others(rows.filter((row) => row.user !== this.#owner.user && row.state !== "done"));
    this.#rows(mine.reverse());
  }

  /** Say what keeps the scans from going out; null for nothing. */
  stopped(why) {
    $("outbox-why").textContent = WHY[why] ?? "";
    if (why === "signed out") $("outbox-why").append(" ", element("a", said("Sign in"), { href: `${this.#addresses.signIn}?next=${this.#addresses.page}` }));
  }

  #rows(rows) {
    const settled = rows.filter((row) => row.state === "done" || row.state === "undone").slice(0, MOST);
    const shownRows = rows.filter((row) => settled.includes(row) || (row.state !== "done" && row.state !== "undone"));
    $("rows").replaceChildren(...shownRows.map((row) => this.#row(row)));
    $("no-rows").hidden = shownRows.length > 0;
  }

  #row(row) {
    const { sign, head, text, links, again } = told(row, this.#addresses);
    const code = shown(row.scan.code);
    const line = element("li", "");
    line.dataset.state = row.state;
    const what = element("div", "");
    const became = [row.state === "done" ? said("Sent") : head, text].filter(Boolean).join(": ");
    what.append(element("p", code, { className: "code" }));
    what.append(element("p", became, { className: sign === "bad" ? "warn" : "" }));
    what.append(element("p", asked(row.scan), { className: "muted" }));
    line.append(what, ...links.map(([words, href]) => element("a", words, { href })));
    if (again) line.append(button(said("Send again"), code, () => this.#retry(row)));
    if (sign === "bad") line.append(button(said("Clear"), code, () => this.#clear(row)));
    return line;
  }

  #others(rows) {
    const names = [...new Set(rows.map((row) => row.who))].join(", ");
    $("others").textContent = counted(
      "%(count)s scan of %(names)s on this device wait until they sign in here.",
      "%(count)s scans of %(names)s on this device wait until they sign in here.",
      { count: rows.length, names },
    );
    $("others").hidden = !rows.length;
  }
}
