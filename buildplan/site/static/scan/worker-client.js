// The page's side of the service worker, and leaving without losing scans out of sight.

import { counted } from "../texts.js";

const $ = (id) => document.getElementById(id);

/** Register the worker for this page and for signing out. Without HTTPS there is none: the page then needs the network to open. */
export function serve({ worker, page, signOut }) {
  if (!navigator.serviceWorker) return;
  for (const scope of [page, signOut]) navigator.serviceWorker.register(worker, { scope }).catch(() => {});
}

/** Ask before signing out while scans wait. They stay on the device either way. `waiting` gives them. */
export function leaveCarefully({ signOut, waiting }) {
  const form = document.querySelector(`form[action="${signOut}"]`);
  if (!form) return;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const { length: count } = await waiting();
    if (!count) return leave(form);
    $("leave-text").textContent = counted(
      "%(count)s scan is not sent yet. They stay on this device, and go out when you sign in here again.",
      "%(count)s scans are not sent yet. They stay on this device, and go out when you sign in here again.",
      { count },
    );
    $("leave").showModal();
  });
  $("leave-stay").addEventListener("click", () => $("leave").close());
  $("leave-go").addEventListener("click", () => leave(form));
}

function leave(form) {
  navigator.serviceWorker?.controller?.postMessage("forget");
  form.submit();
}
