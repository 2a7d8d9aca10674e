// Who works on the tablet: signing in at the server, the tokens that it gives, and trading them for new ones.

import { CoreError, type Fault } from "./core";
import type { Disk } from "./disk";
import { type Identity, sign } from "./identity";
import { newId } from "./ids";
import type { SignInResponse, Staff } from "./messages";
import type { Notes } from "./notes";
import { base64, refresh, Refusal, signIn } from "./server";
import type { Border } from "./border";

/** SignedIn is what is kept of a person: her tokens, empty when her sign-in ended, and a refresh that was begun. */
export interface SignedIn {
  staff_id: string;
  name: string;
  sign_in_name: string;
  access: string;
  refresh: string;
  request: string;
}

/** Proof makes the device's signature over a statement. */
async function proofOf(call: (m: string, q: unknown) => Promise<{ beside: Uint8Array<ArrayBuffer>[] }>, identity: Identity, purpose: string, parts: string[]) {
  const { beside } = await call("statement", { purpose, parts });
  return base64(await sign(identity, beside[0] as Uint8Array<ArrayBuffer>));
}

/** Signs a person in by name and password; for that the server must answer. Nothing is stored. */
export async function firstSignIn(border: Border, identity: Identity, name: string, password: string): Promise<SignedIn> {
  const call = async (m: string, q: unknown) => border.call(m, q);
  const request = newId();
  const proof = await proofOf(call, identity, "sign-in", [name, request]);
  return personOf(await signIn({ sign_in_name: name, password, device_id: identity.device_id, request_id: request, proof }));
}

function personOf(answer: SignInResponse): SignedIn {
  const staff: Staff = answer.staff ?? {};
  return {
    staff_id: staff.id ?? "", name: staff.name?.full ?? staff.sign_in_name ?? "", sign_in_name: staff.sign_in_name ?? "",
    access: answer.tokens?.access_token ?? "", refresh: answer.tokens?.refresh_token ?? "", request: "",
  };
}

/** SignedOut says that the sign-in ended. Work goes on; only the exchange needs a new one. */
export class SignedOut extends Error {}

/** People keeps the tokens of whoever works. */
export class People {
  constructor(
    private readonly notes: Notes,
    private readonly disk: Disk,
    private readonly identity: Identity,
    public now: SignedIn,
  ) {}

  static kept(notes: Notes, staff: string): SignedIn | undefined {
    const text = notes.get(noteOf(staff));
    return text ? (JSON.parse(text) as SignedIn) : undefined;
  }

  async save(): Promise<void> {
    await this.notes.set(noteOf(this.now.staff_id), JSON.stringify(this.now));
  }

  /** Does something with an access token, and trades for a new one once when it is not good any more. */
  async signed<T>(what: (token: string) => Promise<T>): Promise<T> {
    for (let fresh = false; ; fresh = true) {
      if (!this.now.access) await this.trade();
      try {
        return await what(this.now.access);
      } catch (cause) {
        if (fresh || !(cause instanceof Refusal) || cause.wire.code !== "unauthenticated") throw cause;
        this.now.access = "";
      }
    }
  }

  /** Trades the refresh token. Its request is stored before it is sent: asked again with it, a lost answer is given again. */
  private async trade(): Promise<void> {
    const who = this.now;
    if (!who.refresh) throw new SignedOut();
    if (!who.request) {
      who.request = newId();
      await this.save();
    }
    const call = (m: string, q: unknown) => this.disk.call(m, q);
    try {
      const proof = await proofOf(call, this.identity, "refresh", [who.refresh, who.request]);
      const answer = personOf(await refresh({ refresh_token: who.refresh, request_id: who.request, proof }));
      this.now = { ...answer, name: answer.name || who.name, sign_in_name: answer.sign_in_name || who.sign_in_name };
      await this.save();
    } catch (cause) {
      if (!(cause instanceof Refusal) || cause.wire.code !== "unauthenticated") throw cause;
      Object.assign(who, { access: "", refresh: "", request: "" });
      await this.save();
      throw new SignedOut();
    }
  }
}

function noteOf(staff: string): string {
  return `person/${staff}`;
}

/** faultsOf is a refusal of the server's as the core reads it. */
export async function faultsOf(border: { call(m: string, q: unknown): unknown }, refusal: Refusal): Promise<readonly Fault[]> {
  try {
    const { json } = (await border.call("refusal", refusal.wire)) as { json: { fault: Fault } };
    return [json.fault];
  } catch (cause) {
    return cause instanceof CoreError ? cause.faults : [];
  }
}
