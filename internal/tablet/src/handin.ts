// What a revoked tablet still has: edits that only the clinic's server can open, and the key that proves whose they are.

import type { Border } from "./border";
import { type Identity, sign } from "./identity";
import { base64, handInSealed } from "./server";
import type { Store } from "./store";

/** SealedEdit is one edit as it is stored after the wipe. */
export interface SealedEdit {
  /** The replica's 16 bytes in base64, as JSON carries them. */
  replica: string;
  counter: number;
  sealed: Uint8Array<ArrayBuffer>;
}

/** HandedIn counts what became of them: held for a person, known before, or kept sealed at the server. */
export interface HandedIn {
  held: number;
  known: number;
  kept: number;
}

// Bounds of one call; the server takes 500 edits and 4 MiB.
const mostEdits = 200;
const mostBytes = 2 << 20;

/** outboxOf is what a revoked tablet still has. */
export async function outboxOf(store: Store): Promise<SealedEdit[]> {
  return (await store.meta<SealedEdit[]>("outbox")) ?? [];
}

/** Hands everything in. What the server has on its disk is forgotten here part by part; cut off anywhere, it is gone on with. */
export async function handIn(store: Store, border: Border, identity: Identity): Promise<HandedIn> {
  const sum: HandedIn = { held: 0, known: 0, kept: 0 };
  for (let rest = await outboxOf(store); rest.length > 0; ) {
    const part = firstPart(rest);
    const edits = part.map(({ replica, counter }) => ({ replica, counter }));
    const { beside } = border.call("hand_in", { device_id: identity.device_id, edits }, part.map((e) => e.sealed));
    const proof = await sign(identity, beside[0] as Uint8Array<ArrayBuffer>);
    const { results = [] } = await handInSealed({
      device: base64(bytesOf(identity.device_id)), proof: base64(proof),
      edits: part.map((e) => ({ replica: e.replica, counter: e.counter, sealed: base64(e.sealed) })),
    });
    if (results.length !== part.length) throw new Error("The server's answer does not say what became of each edit. Nothing was forgotten here; try again.");
    for (const r of results) {
      if (r.state === "HANDED_IN_STATE_HELD") sum.held++;
      else if (r.state === "HANDED_IN_STATE_KNOWN") sum.known++;
      else sum.kept++;
    }
    rest = rest.slice(part.length);
    await store.setMeta("outbox", rest);
  }
  return sum;
}

/** As many as one call takes, at least one. */
function firstPart(edits: readonly SealedEdit[]): SealedEdit[] {
  let size = 0;
  const end = edits.findIndex((e, i) => (size += e.sealed.length) > mostBytes && i > 0);
  return edits.slice(0, Math.min(mostEdits, end < 0 ? edits.length : end));
}

/** bytesOf is the 16 bytes of a UUID. */
function bytesOf(id: string): Uint8Array {
  return Uint8Array.from(id.replaceAll("-", "").match(/../g) ?? [], (x) => parseInt(x, 16));
}
