// The service worker. It keeps whole versions of the app, each one manifest with all of its files, fetched and checked before any of it counts, and answers
// from the one that is current, so that the app comes up with no signal and never of mixed files. It never touches calls to the server.

/** Manifest is one version: its files by address, with their SHA-256 in hexadecimal. */
interface Manifest {
  version: string;
  page: string;
  files: { [address: string]: string };
}

/** State is which version is current, the one before it, the one that waits, and how often the current one began to come up without saying that it did. */
interface State {
  current?: Manifest;
  before?: Manifest;
  next?: Manifest;
  /** A version that did not come up: it is not offered again. */
  bad?: string;
  tries: number;
}

const me = self as unknown as ServiceWorkerGlobalScope;
const manifestAddress = "/app.json";
const stateName = "needlebook-state";
const mostTries = 2;

me.addEventListener("install", (event) => event.waitUntil(install()));
me.addEventListener("activate", (event) => event.waitUntil(me.clients.claim()));
me.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (event.request.method !== "GET" || address.origin !== me.location.origin) return;
  if (event.request.mode === "navigate" && address.pathname === "/") event.respondWith(page(event.request));
  else if (address.pathname.startsWith("/app/")) event.respondWith(file(event.request, address.pathname));
});
me.addEventListener("message", (event) => event.waitUntil(heard(event)));

async function install(): Promise<void> {
  const state = await read();
  if (!state.current) {
    const first = await fetchManifest();
    await keep(first);
    await write({ ...state, current: first });
  }
  await me.skipWaiting(); // this script alone; which version is current is another matter
}

interface Message {
  ask?: "ready" | "look";
  take?: string;
  booted?: string;
}

async function heard(event: ExtendableMessageEvent): Promise<void> {
  const m = event.data as Message;
  if (m.ask) await lookForNext(m.ask === "look");
  if (m.booted) await cameUp(m.booted);
  if (m.take) {
    await take(m.take);
    event.ports[0]?.postMessage("taken");
  }
}

/** Fetches the newest version beside the current one, whole, and says that it waits. */
async function lookForNext(again: boolean): Promise<void> {
  let state = await read();
  if (again || !state.next) {
    try {
      const newest = await fetchManifest();
      if (newest.version !== state.current?.version && newest.version !== state.bad && newest.version !== state.next?.version) {
        await keep(newest);
        state = { ...(await read()), next: newest };
        await write(state);
      }
    } catch {
      return; // no signal, or not whole: what is current stays
    }
  }
  for (const client of await me.clients.matchAll()) client.postMessage({ ready: state.next?.version ?? "" });
}

async function take(version: string): Promise<void> {
  const state = await read();
  if (state.next?.version !== version) return;
  await write({ current: state.next, ...(state.current ? { before: state.current } : {}), tries: 0 });
  await tidy();
}

async function cameUp(version: string): Promise<void> {
  const state = await read();
  if (state.current?.version === version && state.tries > 0) await write({ ...state, tries: 0 });
}

/** The page of the current version. One that began twice and never said that it came up gives way to the one before it. */
async function page(request: Request): Promise<Response> {
  let state = await read();
  if (state.current && state.before && state.tries >= mostTries) state = { current: state.before, bad: state.current.version, tries: 0 };
  else if (state.before) state = { ...state, tries: state.tries + 1 };
  await write(state);
  const kept = state.current && (await (await caches.open(cacheOf(state.current))).match(state.current.page));
  return kept ?? fetch(request);
}

async function file(request: Request, address: string): Promise<Response> {
  const state = await read();
  for (const m of [state.current, state.before, state.next]) {
    const kept = m?.files[address] && (await (await caches.open(cacheOf(m))).match(address));
    if (kept) return kept;
  }
  return fetch(request);
}

function cacheOf(m: Manifest): string {
  return `needlebook-${m.version}`;
}

async function fetchManifest(): Promise<Manifest> {
  const answer = await fetch(manifestAddress, { cache: "no-store" });
  if (!answer.ok) throw new Error("no manifest");
  return (await answer.json()) as Manifest;
}

/** Keeps all files of a version, or none: each is held against its hash before any is kept. */
async function keep(m: Manifest): Promise<void> {
  const all = await Promise.all(Object.entries(m.files).map(async ([address, hash]) => ({ address, answer: await fetchWhole(address, hash) })));
  await caches.delete(cacheOf(m));
  const cache = await caches.open(cacheOf(m));
  await Promise.all(all.map(({ address, answer }) => cache.put(address, answer)));
}

async function fetchWhole(address: string, hash: string): Promise<Response> {
  let answer = await fetch(address);
  let bytes = await answer.arrayBuffer();
  if (!answer.ok || (await sum(bytes)) !== hash) {
    answer = await fetch(address, { cache: "reload" });
    bytes = await answer.arrayBuffer();
  }
  if (!answer.ok || (await sum(bytes)) !== hash) throw new Error(`${address} is not whole`);
  const headers = new Headers(answer.headers);
  headers.delete("Content-Encoding");
  headers.delete("Content-Length");
  return new Response(bytes, { status: 200, headers });
}

async function sum(bytes: ArrayBuffer): Promise<string> {
  return Array.from(new Uint8Array(await crypto.subtle.digest("SHA-256", bytes)), (b) => b.toString(16).padStart(2, "0")).join("");
}

async function tidy(): Promise<void> {
  const { current, before, next } = await read();
  const wanted = [stateName, ...[current, before, next].flatMap((m) => (m ? [cacheOf(m)] : []))];
  for (const name of await caches.keys()) if (!wanted.includes(name)) await caches.delete(name);
}

async function read(): Promise<State> {
  const kept = await (await caches.open(stateName)).match("/state");
  return kept ? ((await kept.json()) as State) : { tries: 0 };
}

async function write(state: State): Promise<void> {
  await (await caches.open(stateName)).put("/state", new Response(JSON.stringify(state)));
}
