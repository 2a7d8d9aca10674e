// Calls to the clinic's server, which is where this page came from. One call is one try; whoever calls decides whether to try again.

import type { EnrolDeviceRequest, EnrolDeviceResponse, RefreshRequest, RefreshResponse, SignInRequest, SignInResponse } from "./messages";

/** Away says that the server could not be reached, or that what answered is not it. Nothing was lost by it. */
export class Away extends Error {}

/** Refusal says that the server refused; its error is as the Connect protocol writes it, for the core to read. */
export class Refusal extends Error {
  constructor(
    /** The error, as JSON. */
    readonly wire: WireError,
    /** How long to wait before the next try, in ms; 0 when the server names no time. */
    readonly wait: number,
  ) {
    super(wire.message ?? wire.code ?? "refused");
    this.name = "Refusal";
  }
}

/** WireError is an error of the Connect protocol. */
export interface WireError {
  code?: string;
  message?: string;
  details?: { type: string; value: string }[];
}

/** How long one call may take, in ms: a page of 1 MiB on a bad line. */
const patience = 120_000;

async function call(procedure: string, type: string, body: BodyInit, token: string | undefined, signal?: AbortSignal): Promise<Response> {
  const headers: Record<string, string> = { "Content-Type": type, "Connect-Protocol-Version": "1" };
  if (token) headers["Authorization"] = `Bearer ${token}`;
  let answer: Response;
  try {
    const within = AbortSignal.timeout(patience);
    answer = await fetch(`/${procedure}`, {
      method: "POST", headers, body, cache: "no-store", credentials: "omit", redirect: "error",
      signal: signal ? AbortSignal.any([signal, within]) : within,
    });
  } catch (cause) {
    throw new Away("the server does not answer", { cause });
  }
  if (answer.ok) return answer;
  let wire: WireError;
  try {
    wire = (await answer.json()) as WireError;
  } catch (cause) {
    throw new Away("what answered is not the clinic server", { cause });
  }
  if (!wire.code) throw new Away("what answered is not the clinic server");
  throw new Refusal(wire, Number(answer.headers.get("Retry-After") ?? 0) * 1000);
}

async function inJSON<A>(procedure: string, request: unknown): Promise<A> {
  const answer = await call(procedure, "application/json", JSON.stringify(request), undefined);
  return (await answer.json()) as A;
}

/** Asks a procedure with a person's token, in JSON. */
export async function asked<A>(procedure: string, request: unknown, token: string): Promise<A> {
  return (await (await call(procedure, "application/json", JSON.stringify(request), token)).json()) as A;
}

const access = "needlebook.access.v1.AccessService";
const sync = "needlebook.sync.v1.SyncService";

export const enrolDevice = (m: EnrolDeviceRequest) => inJSON<EnrolDeviceResponse>(`${access}/EnrolDevice`, m);
export const signIn = (m: SignInRequest) => inJSON<SignInResponse>(`${access}/SignIn`, m);
export const refresh = (m: RefreshRequest) => inJSON<RefreshResponse>(`${access}/Refresh`, m);

/** What the server says of sealed edits, of each in the order of the request. */
export interface HandInAnswer {
  results?: { state?: string; reason?: string }[];
}

export interface HandInOrder {
  device: string;
  proof: string;
  edits: { replica: string; counter: number; sealed: string }[];
}

export const handInSealed = (m: HandInOrder) => inJSON<HandInAnswer>(`${sync}/HandInSealed`, m);

/** Exchanged is an answer for the core to read, and when the server says it is, in ms since 1970 to the second; 0 when it does not say. */
export interface Exchanged {
  bytes: Uint8Array;
  at: number;
}

/** Exchanges once: the body is what the core made, and so is the answer for the core to read. */
export async function exchange(kind: "hello" | "exchange", body: Uint8Array<ArrayBuffer>, token: string, signal?: AbortSignal): Promise<Exchanged> {
  const procedure = kind === "hello" ? "Hello" : "Exchange";
  const answer = await call(`${sync}/${procedure}`, "application/proto", body, token, signal);
  try {
    const at = Date.parse(answer.headers.get("Date") ?? "");
    return { bytes: new Uint8Array(await answer.arrayBuffer()), at: Number.isNaN(at) ? 0 : at };
  } catch (cause) {
    throw new Away("the answer was cut off", { cause });
  }
}

/** base64 writes bytes as JSON carries them. */
export function base64(bytes: Uint8Array): string {
  let text = "";
  for (const b of bytes) text += String.fromCharCode(b);
  return btoa(text);
}
