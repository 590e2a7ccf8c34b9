// What stands until another is chosen: what a scan does, and the place and the bag, by hand or by scanning their labels.

const KEY = "rivetloft-standing";

const remembered = () => {
  try {
    return JSON.parse(localStorage.getItem(KEY)) ?? {};
  } catch {
    return {};
  }
};

/** The form's choices. Each option of a labelled place or bag carries its token. */
export class Standing {
  #actions;
  #lists;
  #lots;
  #owner;

  constructor(form, lots, owner) {
    const { action, place, bag } = form.elements;
    this.#actions = action;
    this.#lists = { place, bag };
    this.#lots = lots;
    this.#owner = owner;
    this.#recall();
    form.addEventListener("change", () => this.#remember());
  }

  /** What a scan does. */
  get action() {
    return this.#actions.value;
  }

  /** What a token stands for: { kind: "place" or "bag", value, text }, or null. */
  find(token) {
    for (const [kind, list] of Object.entries(this.#lists)) {
      const option = [...list.options].find((one) => one.dataset.token === token);
      if (option) return { kind, value: option.value, text: option.text };
    }
    return null;
  }

  /** Whether a token stands for a lot on hand. */
  isLot(token) {
    return this.#lots.dataset.tokens.split(" ").includes(token);
  }

  /** Let a place or bag stand. */
  set({ kind, value }) {
    this.#lists[kind].value = value;
    this.#remember();
  }

  /** Where: { place, bag }, "" for none. */
  get now() {
    return Object.fromEntries(Object.entries(this.#lists).map(([kind, list]) => [kind, list.value]));
  }

  /** Take newer lists and labels from the page as the server shows it now; what stands stays. */
  replace(page) {
    this.#lots.dataset.tokens = page.getElementById(this.#lots.id)?.dataset.tokens ?? "";
    for (const list of Object.values(this.#lists)) {
      const newer = page.getElementById(list.id);
      const { value } = list;
      if (newer) list.replaceChildren(...[...newer.options].map((option) => document.importNode(option, true)));
      list.value = value;
      if (list.selectedIndex < 0) list.value = "";
    }
  }

  // A choice in the address, as a link or the page without scripts makes it, counts for more than what was chosen before.
  #recall() {
    const kept = remembered();
    const mine = kept.owner === this.#owner ? kept : {};
    const asked = Object.fromEntries(new URLSearchParams(location.search));
    const wanted = { ...mine, ...asked };
    if (wanted.action) this.#actions.value = wanted.action;
    for (const [kind, list] of Object.entries(this.#lists)) {
      if ([...list.options].some((option) => option.value === wanted[kind])) list.value = wanted[kind];
    }
    if (location.search) this.#remember();
  }

  #remember() {
    try {
      localStorage.setItem(KEY, JSON.stringify({ owner: this.#owner, action: this.action, ...this.now }));
    } catch {
      // a browser that keeps nothing: the choice stands until the page is left
    }
  }
}
