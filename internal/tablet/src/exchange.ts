// The one file that exchanges with the server: it sends what the core says, lets the core read what comes back, and stores that before it sends again. It
// may be cut off anywhere and goes on from there. Being away, or having no sign-in, stops it and nothing else.

import { signal } from "@preact/signals";
import { CoreError, type Fault, type Need, type SyncState, type SyncWord } from "./core";
import type { Disk } from "./disk";
import { type Identity, sign } from "./identity";
import { newId } from "./ids";
import type { Notes } from "./notes";
import { type People, SignedOut } from "./people";
import { Away, exchange, Refusal } from "./server";
import { StoreError } from "./store";

/** How often the server is asked for what is new while somebody looks at the tablet, in ms. */
const pollEvery = 20_000;
/** How long to wait after the server was away: at first, and at most. */
const awayFirst = 3_000;
const awayMost = 120_000;
/** How long after an edit it is sent: a few taps go together. */
const soon = 400;
/** How often in a row a refusal may be mended without an answer between. */
const mostMended = 8;
/** How far the clocks may differ before dates are in doubt. */
const mostOffset = 120_000;

/** Stand is how the replica stands with the server, as the core says it. */
interface Stand {
  unsent: number;
  held: number;
  conflicts: number;
  recovered: number;
  in_step: boolean;
}

/** Past is what is remembered of exchanges. */
interface Past {
  last_unix_ms: number;
  backed_up: boolean;
  checked_unix_ms: number;
  offset_ms: number;
  highest_unix_ms: number;
  ran_backwards: boolean;
}

const noPast: Past = { last_unix_ms: 0, backed_up: false, checked_unix_ms: 0, offset_ms: 0, highest_unix_ms: 0, ran_backwards: false };
const noteName = "exchanges";

/** Revoked says that the server revoked this tablet: what can be read here is to be wiped. */
export class Revoked extends Error {}

export class Exchange {
  /** How the tablet stands with the server. */
  readonly state = signal<SyncState>({ word: "saved", text: texts.saved, unsent: 0, busy: false, away: false, last_unix_ms: 0, needs: [] });

  private past: Past;
  private stand: Stand = { unsent: 0, held: 0, conflicts: 0, recovered: 0, in_step: false };
  private faults: readonly Fault[] = [];
  private troubles: Need[] = [];
  private signedOut = false;
  private away = false;
  private busy = false;
  private again = false;
  private pause = awayFirst;
  private timer: ReturnType<typeof setTimeout> | undefined;
  private readonly stop = new AbortController();

  constructor(
    private readonly disk: Disk,
    private readonly notes: Notes,
    private readonly people: People,
    private readonly identity: Identity,
    private readonly revoked: () => Promise<void>,
  ) {
    const kept = notes.get(noteName);
    this.past = kept ? { ...noPast, ...(JSON.parse(kept) as Partial<Past>) } : { ...noPast };
    const now = Date.now();
    if (now < this.past.highest_unix_ms - mostOffset) this.past.ran_backwards = true;
    this.past.highest_unix_ms = Math.max(now, this.past.highest_unix_ms);
    addEventListener("online", () => this.kick(), { signal: this.stop.signal });
    document.addEventListener("visibilitychange", () => document.hidden || this.kick(), { signal: this.stop.signal });
  }

  /** Begins, and says at once how things stand. */
  async start(): Promise<void> {
    await this.look();
    this.kick();
  }

  /** Ends for good. */
  close(): void {
    this.stop.abort();
    clearTimeout(this.timer);
  }

  /** Exchanges now. */
  kick(): void {
    this.after(0);
  }

  /** Exchanges soon, since something was edited. */
  edited(): void {
    void this.look();
    this.after(soon);
  }

  /** What is known of the clock, a name of ClockState. */
  clock(): string {
    if (this.past.ran_backwards) return "CLOCK_STATE_RAN_BACKWARDS";
    return this.past.checked_unix_ms > 0 && Math.abs(this.past.offset_ms) < mostOffset ? "CLOCK_STATE_CHECKED" : "CLOCK_STATE_UNCHECKED";
  }

  /** Says something of the tablet itself that needs a person. */
  trouble(need: Need): void {
    this.troubles = [...this.troubles.filter((t) => t.kind !== need.kind), need];
    this.show();
  }

  private after(ms: number): void {
    if (this.stop.signal.aborted) return;
    if (this.busy) {
      this.again = true;
      return;
    }
    clearTimeout(this.timer);
    this.timer = setTimeout(() => void this.run(), ms);
  }

  private async run(): Promise<void> {
    this.busy = true;
    this.again = false;
    this.show();
    let wait = pollEvery;
    try {
      await this.disk.call("poll", {});
      await this.all();
      this.away = this.signedOut = false;
      this.faults = [];
      this.pause = awayFirst;
      await this.remember({ last_unix_ms: Date.now() });
      if (!this.again) await this.disk.compact();
    } catch (cause) {
      if (cause instanceof Revoked) return this.revoked();
      wait = await this.failed(cause);
    }
    this.busy = false;
    await this.look();
    this.after(this.again ? soon : wait);
  }

  /** What an exchange that did not end leaves; it answers how long to wait. */
  private async failed(cause: unknown): Promise<number> {
    if (cause instanceof Away) {
      this.away = true;
      this.pause = Math.min(this.pause * 2, awayMost);
      return this.pause;
    }
    this.away = false;
    if (cause instanceof SignedOut) this.signedOut = true;
    else if (cause instanceof Refusal) return Math.max(cause.wait, awayMost);
    else if (cause instanceof CoreError) this.faults = cause.faults;
    else if (cause instanceof StoreError) this.trouble({ kind: "storage", text: storageText(cause) });
    else throw cause;
    return awayMost;
  }

  private async all(): Promise<void> {
    for (let mended = 0; !this.stop.signal.aborted; ) {
      const { json, beside } = await this.disk.call("next", {});
      const kind = (json as { kind: "" | "hello" | "exchange" }).kind;
      if (kind === "") return;
      try {
        await this.one(kind, beside[0] as Uint8Array<ArrayBuffer>, beside[1] as Uint8Array<ArrayBuffer>);
        if (kind === "exchange") mended = 0;
      } catch (cause) {
        if (!(cause instanceof Refusal) || ++mended > mostMended) throw cause;
        await this.refused(cause);
      }
    }
  }

  private async one(kind: "hello" | "exchange", body: Uint8Array<ArrayBuffer>, statement: Uint8Array<ArrayBuffer>): Promise<void> {
    if (statement.length > 0) {
      const signed = await this.disk.call("sign_page", {}, [await sign(this.identity, statement)]);
      body = signed.beside[0] as Uint8Array<ArrayBuffer>;
    }
    const began = Date.now();
    const { bytes, at } = await this.people.signed((token) => exchange(kind, body, token, this.stop.signal));
    if (at) await this.compared(at, (began + Date.now()) / 2);
    if (kind === "hello") {
      await this.disk.call("receive_hello", { fresh_id: newId() }, [bytes]);
      return;
    }
    const { json } = await this.disk.call("receive", {}, [bytes]);
    await this.remember({ backed_up: (json as { backed_up: boolean }).backed_up });
  }

  /** A refusal: either the next step mends it, or a person must know. */
  private async refused(cause: Refusal): Promise<void> {
    if (cause.wire.code === "unavailable") throw new Away(cause.message);
    const { json } = await this.disk.call("refused", cause.wire);
    const { mended, fault } = json as { mended: boolean; fault: Fault & { meta?: Record<string, string> } };
    if (fault.reason === "REASON_DEVICE_REVOKED") throw new Revoked(fault.text);
    if (mended || fault.meta?.["patient_id"]) return; // of a patient who may not be held the core gave up the wish
    this.faults = [fault];
    throw cause;
  }

  /** Compares the clocks: the server says its time to the second. */
  private async compared(server: number, here: number): Promise<void> {
    this.past.offset_ms = Math.round(here - server - 500);
    this.past.checked_unix_ms = Date.now();
    if (Math.abs(this.past.offset_ms) < mostOffset) this.past.ran_backwards = false;
  }

  private async remember(what: Partial<Past>): Promise<void> {
    const worth = what.backed_up !== undefined && what.backed_up !== this.past.backed_up;
    const old = (what.last_unix_ms ?? 0) - this.past.last_unix_ms > 60_000;
    Object.assign(this.past, what);
    if (worth || old) await this.notes.set(noteName, JSON.stringify({ ...this.past, highest_unix_ms: Date.now() }));
  }

  private async look(): Promise<void> {
    try {
      this.stand = (await this.disk.call("standing", {})).json as Stand;
    } catch (cause) {
      if (cause instanceof StoreError) this.troubles = [{ kind: "storage", text: storageText(cause) }];
    }
    this.show();
  }

  private show(): void {
    const needs = this.needs();
    const word = this.word(needs);
    this.state.value = {
      word, text: texts[word], unsent: this.stand.unsent, busy: this.busy, away: this.away, last_unix_ms: this.past.last_unix_ms, needs,
    };
  }

  private word(needs: readonly Need[]): SyncWord {
    if (needs.length > 0) return "needs_you";
    if (this.stand.unsent > 0 || this.past.last_unix_ms === 0) return "saved";
    return this.past.backed_up ? "backed_up" : "on_server";
  }

  private needs(): Need[] {
    const { held, conflicts, recovered } = this.stand;
    const needs = [...this.troubles];
    if (this.signedOut) needs.push({ kind: "sign_in", text: "Your sign-in has ended. Work goes on; sign in to send it to the clinic server." });
    if (held > 0) needs.push({ kind: "held", text: `${count(held, "edit waits", "edits wait")} for a person at the clinic server.` });
    if (conflicts > 0) needs.push({ kind: "conflict", text: `${count(conflicts, "field has", "fields have")} more than one value.` });
    if (recovered > 0) needs.push({ kind: "recovered", text: `${count(recovered, "value was", "values were")} lost by the server and kept here.` });
    for (const f of this.faults) needs.push({ kind: "refused", text: `${f.text}. ${f.fix}` });
    if (this.past.ran_backwards) needs.push({ kind: "clock", text: "This tablet's clock ran backwards. Check dates by a calendar." });
    return needs;
  }
}

const texts: Record<SyncWord, string> = {
  saved: "Saved on this tablet",
  on_server: "On the clinic server",
  backed_up: "Backed up",
  needs_you: "Needs you",
};

function count(n: number, one: string, many: string): string {
  return `${n} ${n === 1 ? one : many}`;
}

/** storageText says what is wrong with the store, and what to do. */
export function storageText(e: StoreError): string {
  switch (e.trouble) {
    case "full":
      return "This tablet has no room left, so the last tap was not saved. Free some space; what was saved before is safe.";
    case "closed":
    case "newer":
      return "The browser closed this tablet's store. Open Needlebook again; what was saved is safe.";
    case "damaged":
      return "Part of this tablet's store is missing. Do not clear it: what is there can still be handed in.";
    default:
      return "The browser gives no store to this page. Needlebook cannot save here.";
  }
}
