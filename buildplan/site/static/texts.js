// What scripts say to people, in the reader's language. A script has its texts in English; the page says what they are in another.

const TEXTS = JSON.parse(document.getElementById("texts")?.dataset.texts ?? "{}");
const FORMS = new Intl.PluralRules(document.documentElement.lang || "en");

const filled = (words, values) => words.replace(/%\((\w+)\)s/g, (_, name) => values[name]);

/** A text with its values: said("%(count)s codes in the photo", { count }). */
export const said = (english, values = {}) => filled(TEXTS[english] ?? english, values);

/** What is counted: the words for one thing and for several, as the language tells them apart. `count` is one of the values. */
export function counted(one, other, { count, ...values }) {
  const forms = TEXTS[one] ?? { one, other };
  return filled(forms[FORMS.select(count)] ?? forms.other, { count, ...values });
}
