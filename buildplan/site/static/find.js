// The search field of every page takes a scanner that types: it sends the separators of a code as keys with Ctrl, which no field keeps.

const PICTURES = { "]": "\u241d", "^": "\u241e", 6: "\u241e", d: "\u2404", D: "\u2404" };
const ENVELOPE = "[)>"; // only such a code has the later ones

/** What a key with Ctrl stands for in a code that starts like this; nothing where the key is the browser's own. */
function pictureOf(key, text) {
  return key === "]" || text.startsWith(ENVELOPE) ? PICTURES[key] : undefined;
}

const field = document.getElementById("find-anything");
field?.addEventListener("keydown", event => {
  const picture = event.ctrlKey && !event.altKey && !event.metaKey && pictureOf(event.key, field.value);
  if (!picture) return;
  event.preventDefault();
  field.setRangeText(picture, field.selectionStart, field.selectionEnd, "end");
});
