// Sends what waits in the outbox, oldest first, until all of it is answered.

import { said } from "../texts.js";

const BATCH = 50; // the server takes up to 200
const FIRST_PAUSE = 1000; // ms
const LONGEST_PAUSE = 60_000;
const PATIENCE = 20_000;
const NO_UUID = "00000000-0000-0000-0000-000000000000";

const cookie = (name) => document.cookie.match(`(?:^|; )${name}=([^;]*)`)?.[1] ?? "";

const why = async (response, otherwise) => (await response?.json().catch(() => null))?.detail ?? otherwise;

/** What keeps the scans from going out, as `stopped` tells it. */
export const STOPPED = { offline: "offline", signedOut: "signed out", busy: "busy" };

/** Sends in batches, one at a time; a failure makes it wait longer each time, and `poke` makes it try at once. */
export class Sender {
  #outbox;
  #address;
  #user;
  #answered;
  #stopped;
  #running = null;
  #again = false;
  #timer = 0;
  #pause = FIRST_PAUSE;

  constructor({ outbox, address, user, answered, stopped }) {
    this.#outbox = outbox;
    this.#address = address;
    this.#user = user;
    this.#answered = answered;
    this.#stopped = stopped;
  }

  /** Try now. Resolves when this try is over. */
  poke() {
    clearTimeout(this.#timer);
    if (this.#running) {
      this.#again = true;
      return this.#running;
    }
    this.#running = this.#locked(() => this.#run()).finally(() => {
      this.#running = null;
      if (this.#again) {
        this.#again = false;
        this.poke();
      }
    });
    return this.#running;
  }

  /** Run `work` while nothing is being sent. */
  async held(work) {
    clearTimeout(this.#timer);
    await this.#running;
    try {
      return await this.#locked(work);
    } finally {
      this.poke();
    }
  }

  /** Undo a scan that was sent: { ok, problem }. `address` holds a uuid of zeros where its own goes. */
  async undo(uuid, address) {
    const row = await this.#outbox.find(uuid);
    const response = await this.#ask(address.replace(NO_UUID, uuid), row.workshop, {}).catch(() => null);
    if (response?.ok) return { ok: true, problem: "" };
    return { ok: false, problem: await why(response, said("There is no network: try again when it is back.")) };
  }

  /** Have the server read a photo: { codes, problem }. Rejects without a network. */
  async decode(file, address) {
    const form = new FormData();
    form.append("photo", file);
    const response = await this.#ask(address, "", form);
    if (!response.ok) return { codes: [], problem: await why(response, "") };
    return { codes: (await response.json()).codes.map((code) => code.text), problem: "" };
  }

  // Two pages of one browser share an outbox: one of them sends. Sent twice, a scan would still count once.
  #locked(work) {
    return navigator.locks ? navigator.locks.request("rivetloft-outbox", work) : work();
  }

  async #run() {
    for (;;) {
      const waiting = await this.#waiting();
      if (!waiting.length) return this.#rest(null, 0);
      if (!navigator.onLine) return this.#rest(STOPPED.offline, LONGEST_PAUSE); // sure, where `true` would not be
      const workshop = waiting[0].workshop;
      const pause = await this.#send(waiting.filter((row) => row.workshop === workshop).slice(0, BATCH));
      if (pause) return this.#rest(pause.why, pause.ms);
      this.#pause = FIRST_PAUSE;
    }
  }

  async #waiting() {
    return (await this.#outbox.all()).filter((row) => row.state === "waiting" && row.user === this.#user);
  }

  #rest(why, ms) {
    this.#stopped(why);
    if (ms) this.#timer = setTimeout(() => this.poke(), ms);
  }

  /** Send some; null where they were answered, else why it has to pause and how long. */
  async #send(rows) {
    await this.#outbox.tried(rows.map((row) => row.uuid));
    const response = await this.#post(rows).catch(() => null);
    if (!response) return this.#later(STOPPED.offline);
    if (response.status === 207) return this.#take(rows, await response.json().catch(() => null));
    if (response.redirected || response.status === 401 || response.status === 403) return this.#later(STOPPED.signedOut);
    if (response.status === 429) return this.#later(STOPPED.busy, Number(response.headers.get("Retry-After")) * 1000);
    if (response.status >= 500 || response.status === 404 || response.status === 408) return this.#later(STOPPED.busy);
    return this.#refused(rows, response);
  }

  #post(rows) {
    return this.#ask(this.#address, rows[0].workshop, { scans: rows.map((row) => ({ ...row.scan, device_time: new Date().toISOString() })) });
  }

  #ask(path, workshop, body) {
    const address = new URL(path, location.href);
    if (workshop) address.searchParams.set("workshop", workshop);
    const form = body instanceof FormData;
    return fetch(address, {
      method: "POST",
      headers: {
        Accept: "application/json",
        "X-CSRFToken": cookie("csrftoken"),
        "Rivetloft-User": this.#user, // the cookie may be somebody else's by now
        ...(form ? {} : { "Content-Type": "application/json" }),
      },
      body: form ? body : JSON.stringify(body),
      signal: AbortSignal.timeout?.(PATIENCE),
    });
  }

  /** A batch that is refused as a whole is sent scan by scan, so that one bad scan holds up no other. */
  async #refused(rows, response) {
    if (rows.length > 1) {
      for (const row of rows) {
        const pause = await this.#send([row]);
        if (pause) return pause;
      }
      return null;
    }
    const problem = await response.json().catch(() => ({}));
    await this.#settle(rows[0], { ...problem, outcome: "refused" });
    return null;
  }

  async #take(rows, body) {
    const answers = new Map((body?.results ?? []).map((answer) => [answer.uuid, answer]));
    for (const row of rows) {
      if (answers.has(row.uuid)) await this.#settle(row, answers.get(row.uuid));
    }
    return rows.some((row) => answers.has(row.uuid)) ? null : this.#later(STOPPED.busy);
  }

  async #settle(row, answer) {
    await this.#outbox.settle(row.uuid, answer.outcome, answer);
    this.#answered({ ...row, state: answer.outcome, answer });
  }

  #later(why, ms = 0) {
    this.#pause = Math.min(this.#pause * 2, LONGEST_PAUSE);
    return { why, ms: Math.max(ms, this.#pause * (0.75 + Math.random() / 2)) };
  }
}
