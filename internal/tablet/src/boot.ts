// How the tablet comes up, who opens it, and what is shown when it cannot: one phase at a time, each with a screen of its own.

import { signal } from "@preact/signals";
import { Border } from "./border";
import { coreAddress } from "./built";
import { CoreError } from "./core";
import { handIn, type HandedIn, outboxOf } from "./handin";
import { Sealer } from "./seal";
import { Disk, type Host, type Under } from "./disk";
import { TabletCore } from "./host";
import { enrol, enrolled, type Identity, identityOf } from "./identity";
import { Notes } from "./notes";
import { firstSignIn, People, type SignedIn } from "./people";
import { Pin } from "./pin";
import { Away, Refusal } from "./server";
import { Store, StoreError, type Trouble } from "./store";
import { booted, visiting } from "./update";
import { expectPassphrase, Vault, type Wrap, WrongPassphrase } from "./vault";

/** Phase is what the tablet is at. */
export type Phase =
  | { at: "starting" }
  | { at: "elsewhere" }
  | { at: "trouble"; trouble: Trouble; cause?: string }
  | { at: "lost" }
  | { at: "revoked"; identity: Identity; edits: number }
  | { at: "enrol"; code: string }
  | { at: "storage"; free: number | undefined }
  | { at: "sign_in"; identity: Identity }
  | { at: "unlock"; identity: Identity; people: Wrap[] }
  | { at: "open"; core: TabletCore };

/** phase is what is shown. */
export const phase = signal<Phase>({ at: "starting" });
/** locked covers what is open; what is half typed stays beneath. */
export const locked = signal(false);

const lostMark = "needlebook.device";
const lockName = "needlebook";
const channel = new BroadcastChannel("needlebook");

let store: Store;
let module: WebAssembly.Module;
let vault: Vault | undefined;
let notes: Notes;
let disk: Disk;
let core: TabletCore | undefined;
let release: (() => void) | undefined;
let border: Border;

/** Comes up: one window at a time, the store, the core, and then whoever unlocks it. */
export async function boot(): Promise<void> {
  channel.onmessage = (m) => m.data === "give way" && giveWay();
  if (!(await onlyWindow())) {
    phase.value = { at: "elsewhere" };
    return;
  }
  try {
    [store, module] = await Promise.all([Store.open(troubled), WebAssembly.compileStreaming(fetch(coreAddress))]);
    border = await Border.open(module);
    setTimeout(() => border.call("formulary", {}), 0); // compiled and read while somebody types
    await decide();
    await booted();
  } catch (cause) {
    fail(cause);
  }
}

/** Takes over from the other window, which closes what it has open. */
export async function takeOver(): Promise<void> {
  phase.value = { at: "starting" };
  channel.postMessage("give way");
  if (await onlyWindow(5000)) location.reload();
  else phase.value = { at: "elsewhere" };
}

function giveWay(): void {
  core?.exchange.close();
  core = undefined;
  phase.value = { at: "elsewhere" };
  void (disk?.idle() ?? Promise.resolve()).then(() => {
    store?.close();
    release?.();
  });
}

/** How long a window waits for the one before it to let go: a page that loads anew lets go a moment after the new one begins. */
const letGoWithin = 2000;

/** Holds the lock of the one window; false when another has it. */
function onlyWindow(within = letGoWithin): Promise<boolean> {
  return new Promise((resolve) => {
    navigator.locks.request(lockName, { signal: AbortSignal.timeout(within) }, () => holdOn(resolve)).catch(() => resolve(false));
  });
}

function holdOn(resolve: (held: boolean) => void): Promise<void> {
  return new Promise((done) => {
    release = done;
    resolve(true);
  });
}

function troubled(trouble: Trouble): void {
  core?.exchange.close();
  phase.value = { at: "trouble", trouble };
}

function fail(cause: unknown): void {
  phase.value = { at: "trouble", trouble: cause instanceof StoreError ? cause.trouble : "unavailable", cause: causeText(cause) };
}

/** What went wrong, for whoever mends it: errors of the core and of the browser hold nothing of a patient. */
function causeText(cause: unknown): string {
  const texts: string[] = [];
  for (let c: unknown = cause; c instanceof Error && texts.length < 4; c = c.cause) texts.push(`${c.name}: ${c.message}`);
  return texts.join(" / ");
}

/** Decides which screen comes first. */
async function decide(): Promise<void> {
  const identity = await identityOf(store);
  if (!enrolled(identity)) {
    if (localStorage.getItem(lostMark)) phase.value = { at: "lost" };
    else phase.value = { at: "enrol", code: codeOfAddress() };
    return;
  }
  localStorage.setItem(lostMark, identity.device_id);
  if (identity.wiped_unix_ms) {
    phase.value = { at: "revoked", identity, edits: (await outboxOf(store)).length };
    return;
  }
  const people = await store.wraps();
  if (people.length > 0) {
    phase.value = { at: "unlock", identity, people };
    expectPassphrase(module);
  }
  else if (!(await kept())) phase.value = { at: "storage", free: await freeBytes() };
  else phase.value = { at: "sign_in", identity };
}

/** The enrolment code of a square code's address, which is then taken out of the address. */
function codeOfAddress(): string {
  const code = /^#enrol=([0-9A-Za-z-]{16,24})$/.exec(location.hash)?.[1] ?? "";
  if (location.hash) history.replaceState(null, "", location.pathname);
  return code;
}

/** Asks the browser not to throw the store away, and reads back whether it will keep it. */
async function kept(): Promise<boolean> {
  const asked = (await navigator.storage?.persist?.()) ?? false;
  return asked && ((await navigator.storage.persisted?.()) ?? false);
}

/** How much room is left, in bytes; undefined when the browser does not say. */
async function freeBytes(): Promise<number | undefined> {
  const { quota, usage } = (await navigator.storage?.estimate?.()) ?? {};
  return quota === undefined ? undefined : quota - (usage ?? 0);
}

/** Goes on after the screen about storage; agreed is that somebody goes on though the browser does not promise to keep the store. */
export async function goOn(agreed: boolean): Promise<void> {
  const identity = await identityOf(store);
  if (!enrolled(identity)) return;
  if (agreed || (await kept())) phase.value = { at: "sign_in", identity };
  else phase.value = { at: "storage", free: await freeBytes() };
}

/** Enrols by a code. It throws a CoreError with what to say. */
export async function enrolBy(code: string, label: string, limit: boolean): Promise<void> {
  await told(async () => {
    await enrol(store, border, code, label, limit);
    await decide();
  });
}

/** Forgets that this tablet was enrolled, after its store was lost; it then comes as a new one. */
export async function comeAnew(): Promise<void> {
  localStorage.removeItem(lostMark);
  await decide();
}

/** The first person of a tablet: she signs in at the server, and her password opens the tablet from then on. */
export async function firstPerson(name: string, password: string): Promise<void> {
  await told(async () => {
    const identity = (await identityOf(store)) as Identity;
    const who = await firstSignIn(border, identity, name, password);
    vault = await Vault.make();
    notes = await Notes.load(store, vault);
    const wrap = await vault.wrap(module, who, password);
    disk = await Disk.begin(await under(identity, [wrap]), vault, identity.first_replica_id, identity.limit_scope);
    await open(identity, who);
    await store.setWrap(wrap); // last: until it is there, the next start begins again from the sign-in
  });
}

/** Opens the tablet by a person's passphrase: WrongPassphrase when it is another. */
export async function unlock(wrap: Wrap, passphrase: string): Promise<void> {
  const stored = store.blocks();
  stored.catch(() => undefined); // it is said when the passphrase was right
  vault = await Vault.open(module, wrap, passphrase);
  try {
    const identity = (await identityOf(store)) as Identity;
    const [all, host] = await Promise.all([Notes.load(store, vault), under(identity, await store.wraps())]);
    notes = all;
    disk = await Disk.load({ ...host, fresh: border }, vault, stored);
    await open(identity, People.kept(notes, wrap.staff_id) ?? { ...bare(wrap) });
    void another();
  } catch (cause) {
    fail(cause);
  }
}

/** Signs in anew whoever works, or signs in one more person and hands over to her; the server must answer. */
export async function signInAs(name: string, password: string): Promise<void> {
  await told(async () => {
    const identity = (await identityOf(store)) as Identity;
    const who = await firstSignIn(border, identity, name, password);
    const wrap = await (vault as Vault).wrap(module, who, password);
    await store.setWrap(wrap);
    await disk.tell(hostOf(identity, await store.wraps()));
    await handTo(identity, who);
  });
}

/** Wipes what can be read here, because the server said that the tablet is revoked; a new start forgets what is in memory. */
async function revoked(): Promise<void> {
  core?.exchange.close();
  const identity = (await identityOf(store)) as Identity;
  try {
    await disk.wipe({ identity: { ...identity, wiped_unix_ms: Date.now() } });
  } catch (cause) {
    fail(cause);
    return;
  }
  location.reload();
}

/** Hands in what a revoked tablet still has, sealed. With the last of it nothing of the tablet stays; somebody may then enrol it as a new one. */
export async function handInSealed(): Promise<HandedIn> {
  let sum: HandedIn = { held: 0, known: 0, kept: 0 };
  await told(async () => {
    sum = await handIn(store, border, (await identityOf(store)) as Identity);
  });
  await forgetTablet();
  return sum;
}

/** Forgets the revoked tablet's key and name, once nothing of it is left to hand in. */
async function forgetTablet(): Promise<void> {
  if ((await outboxOf(store)).length > 0) return;
  await store.wipe({});
  localStorage.removeItem(lostMark);
}

/** Begins again as a browser that was never enrolled, after everything was handed in. */
export async function startOver(): Promise<void> {
  await forgetTablet();
  await decide();
}

/** Signs out whoever works: her tokens go, and the tablet's key goes out of memory. What is unsent stays here, encrypted and sealed. */
export async function signOut(): Promise<void> {
  core?.exchange.close();
  await core?.forgetSignIn();
  location.reload();
}

/** Hands over to another person of the tablet who gave her passphrase. The store stays open. */
export async function handOver(wrap: Wrap, passphrase: string): Promise<void> {
  await Vault.open(module, wrap, passphrase);
  pins.forgive(wrap.staff_id);
  await becomes(wrap);
}

/** Hands over, or goes on, by a PIN; false when it is wrong. After five wrong ones only the passphrase opens. */
export async function byPin(wrap: Wrap, pin: string): Promise<boolean> {
  if (!(await pins.try(wrap.staff_id, pin))) return false;
  await becomes(wrap);
  return true;
}

/** Whether a person has a PIN that still opens. */
export const hasPin = (staff: string): boolean => pins.has(staff);

/** Sets the PIN of whoever works: at least six digits, a lock of the screen and nothing else. */
export const setPin = (pin: string): Promise<void> => pins.set(core?.person.value.staff_id ?? "", pin);

const pins = new Pin(() => notes);

/** Those who can open this tablet. */
export const peopleHere = (): Promise<Wrap[]> => store.wraps();

async function becomes(wrap: Wrap): Promise<void> {
  const identity = (await identityOf(store)) as Identity;
  if (core?.person.value.staff_id !== wrap.staff_id) await handTo(identity, People.kept(notes, wrap.staff_id) ?? bare(wrap));
  locked.value = false;
}

async function handTo(identity: Identity, who: SignedIn): Promise<void> {
  core?.exchange.close();
  await open(identity, who);
}

function bare(wrap: Wrap): SignedIn {
  return { staff_id: wrap.staff_id, name: wrap.name, sign_in_name: wrap.sign_in_name, access: "", refresh: "", request: "" };
}

const revision = signal(0);

function changed(): void {
  revision.value++;
}

async function open(identity: Identity, who: SignedIn): Promise<void> {
  const people = new People(notes, disk, identity, who);
  await people.save();
  core = new TabletCore(disk, notes, people, identity, revision, { lock: () => (locked.value = true), visiting, revoked });
  await core.start();
  if (!((await navigator.storage?.persisted?.()) ?? false)) {
    core.exchange.trouble({ kind: "storage", text: "This browser does not promise to keep what is saved here. Install Needlebook on this tablet." });
  }
  locked.value = false;
  phase.value = { at: "open", core };
}

/** Opens a core for what needs no replica: the one before is the disk's now. Until it is there both use that one, which such calls leave as it is. */
async function another(): Promise<void> {
  border = await Border.open(module);
}

async function under(identity: Identity, people: Wrap[]): Promise<Under> {
  return { module, store, sealer: await Sealer.of(identity), host: hostOf(identity, people), changed };
}

function hostOf(identity: Identity, people: Wrap[]): Host {
  return {
    device_id: identity.device_id, label: identity.label, clinic_id: identity.clinic_id, page_edits: 200, answer_rows: 200,
    people: people.map(({ staff_id, name }) => ({ staff_id, name })),
  };
}

/** Makes what the server or the network said a CoreError with a sentence. */
async function told(what: () => Promise<void>): Promise<void> {
  try {
    await what();
  } catch (cause) {
    if (cause instanceof Refusal) {
      const { json } = border.call("refusal", cause.wire);
      const { fault } = json as { fault: CoreError["faults"][number] };
      if (fault.reason === "REASON_DEVICE_REVOKED" && disk) await revoked();
      throw new CoreError([fault]);
    }
    if (cause instanceof Away) {
      throw new CoreError([{ reason: "REASON_UNAVAILABLE", field: "", text: "The clinic server does not answer", fix: "Check the network and try again." }]);
    }
    throw cause;
  }
}

export { WrongPassphrase };
