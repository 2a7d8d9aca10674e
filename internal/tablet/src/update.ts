// Updates: the service worker fetches a whole new version beside the one that runs; it takes over when no visit is open and somebody taps. A version that
// did not come up twice gives way to the one before it.

import { signal } from "@preact/signals";
import { trusted, version } from "./built";

/** ready is the version that waits to take over; empty when none does. */
export const ready = signal("");
/** open says that a visit is open. */
export const open = signal(false);

let waiting: ServiceWorker | null = null;

/** Says whether a visit is open: no update takes over until it is closed. */
export function visiting(is: boolean): void {
  open.value = is;
}

/** Registers the service worker, after the page is up. */
export async function watchForUpdates(): Promise<void> {
  if (!("serviceWorker" in navigator)) return;
  navigator.serviceWorker.addEventListener("message", (m: MessageEvent<{ ready?: string }>) => {
    if (m.data.ready && m.data.ready !== version) ready.value = m.data.ready;
  });
  const registered = await navigator.serviceWorker.register(trusted("/sw.js"), { type: "module", updateViaCache: "none" });
  await navigator.serviceWorker.ready;
  waiting = registered.active;
  waiting?.postMessage({ ask: "ready" });
  setInterval(() => void look(), 15 * 60_000);
}

/** Looks for a new version. */
export async function look(): Promise<void> {
  (await navigator.serviceWorker.ready).active?.postMessage({ ask: "look" });
}

/** Lets the waiting version take over: the page loads anew, in it. */
export async function takeUpdate(): Promise<void> {
  if (open.value || !ready.value) return;
  await answered({ take: ready.value });
  location.reload();
}

/** Says that this version came up. */
export async function booted(): Promise<void> {
  if (navigator.serviceWorker?.controller) navigator.serviceWorker.controller.postMessage({ booted: version });
}

function answered(message: unknown): Promise<void> {
  return new Promise((resolve) => {
    const way = new MessageChannel();
    way.port1.onmessage = () => resolve();
    navigator.serviceWorker.controller?.postMessage(message, [way.port2]);
    setTimeout(resolve, 3000);
  });
}
