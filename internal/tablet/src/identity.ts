// The tablet's own key and what it is enrolled as. The key cannot be taken out of the browser; what is signed with it, the core says.

import type { Border } from "./border";
import type { Device } from "./core";
import { newId } from "./ids";
import { base64, enrolDevice } from "./server";
import type { Store } from "./store";

/** Identity is what a tablet knows of itself before anyone unlocks it. No patient is in it. */
export interface Identity extends Device {
  /** The id of the enrolment, stored before it was sent, with the code that it is for. */
  request_id: string;
  code_sha256: string;
  /** The replica that it was enrolled with. */
  first_replica_id: string;
  key: CryptoKeyPair;
  /** The point of the public key: 04, X, Y. */
  point: Uint8Array<ArrayBuffer>;
  sealing_key: string;
  /** When the tablet learned that it was revoked and wiped itself, in ms since 1970; 0 for one that works. */
  wiped_unix_ms: number;
  /** Whether it holds whole only the patients it asks for. */
  limit_scope: boolean;
}

const curve = { name: "ECDSA", namedCurve: "P-256" } as const;

/** Signs a statement: r and s, 32 bytes each. */
export async function sign(identity: Identity, statement: Uint8Array<ArrayBuffer>): Promise<Uint8Array<ArrayBuffer>> {
  return new Uint8Array(await crypto.subtle.sign({ name: "ECDSA", hash: "SHA-256" }, identity.key.privateKey, statement));
}

/** What is stored of the enrolment; undefined before the first try. */
export function identityOf(store: Store): Promise<Identity | undefined> {
  return store.meta<Identity>("identity");
}

/** Whether the server knows the tablet. */
export function enrolled(identity: Identity | undefined): identity is Identity {
  return !!identity?.device_id;
}

/**
 * Enrols the tablet by a one-time code. Everything is on the disk before the code is sent, so that a lost answer loses nothing: the same code again gets
 * the same answer. With another code the tablet comes as a new one, with the same key.
 */
export async function enrol(store: Store, border: Border, typed: string, label: string, limit: boolean): Promise<Identity> {
  const identity = await prepare(store, typed, label, limit);
  const { beside } = border.call("statement", { purpose: "enrol", parts: [typed] }, [identity.point]);
  const proof = await sign(identity, beside[0] as Uint8Array<ArrayBuffer>);
  const answer = await enrolDevice({
    request_id: identity.request_id, code: typed, label, kind: "DEVICE_KIND_TABLET", public_key: base64(identity.point),
    replica_id: identity.first_replica_id, proof: base64(proof),
  });
  const is: Identity = {
    ...identity,
    device_id: answer.device?.id ?? "",
    label: answer.device?.label ?? label,
    clinic_id: answer.device?.home_clinic_id ?? "",
    organisation_id: answer.organisation_id ?? "",
    organisation_name: answer.organisation_name ?? "",
    key_fingerprint: answer.key_fingerprint ?? "",
    sealing_key: answer.sealing_key ?? "",
    code_sha256: "",
  };
  await store.setMeta("identity", is);
  return is;
}

async function prepare(store: Store, typed: string, label: string, limit: boolean): Promise<Identity> {
  const before = await identityOf(store);
  const sum = base64(new Uint8Array(await crypto.subtle.digest("SHA-256", new TextEncoder().encode(typed.toUpperCase().replaceAll(/[- ]/g, "")))));
  const key = before?.key ?? ((await crypto.subtle.generateKey(curve, false, ["sign", "verify"])) as CryptoKeyPair);
  const same = before?.code_sha256 === sum;
  const identity: Identity = {
    device_id: "", organisation_id: "", organisation_name: "", clinic_id: "", key_fingerprint: "", sealing_key: "", wiped_unix_ms: 0, limit_scope: limit,
    request_id: same ? before.request_id : newId(), first_replica_id: same ? before.first_replica_id : newId(), code_sha256: sum, label, key,
    point: before?.point ?? new Uint8Array(await crypto.subtle.exportKey("raw", key.publicKey)),
  };
  await store.setMeta("identity", identity);
  return identity;
}
