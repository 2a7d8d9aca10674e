// Keys at rest. One random data key encrypts everything on the tablet; each person's wrap holds it under a key made of her passphrase.

import { deriveAddress, trusted } from "./built";
import type { Order, Start } from "./derive.worker";

/** Wrap is the data key under one person's passphrase, with what is shown to choose her by. It is stored as it is. */
export interface Wrap {
  staff_id: string;
  name: string;
  sign_in_name: string;
  salt: Uint8Array<ArrayBuffer>;
  passes: number;
  kib: number;
  iv: Uint8Array<ArrayBuffer>;
  key: Uint8Array<ArrayBuffer>;
}

/** Sealed is something encrypted under the data key. */
export interface Sealed {
  iv: Uint8Array<ArrayBuffer>;
  data: ArrayBuffer;
}

// RFC 9106, section 4: 64 MiB and three passes is its second recommended choice; one lane, since a worker has one thread.
const kib = 64 * 1024;
const passes = 3;

const utf8 = new TextEncoder();

/** WrongPassphrase says that a passphrase does not open a wrap. */
export class WrongPassphrase extends Error {}

/** Vault encrypts and decrypts while the tablet is unlocked. */
export class Vault {
  private constructor(
    private readonly key: CryptoKey,
    private readonly whole: CryptoKey, // the same, for the wrap of one more person
  ) {}

  /** Makes the data key of a new store. */
  static async make(): Promise<Vault> {
    return Vault.of(random(32));
  }

  private static async of(raw: Uint8Array<ArrayBuffer>): Promise<Vault> {
    const key = await crypto.subtle.importKey("raw", raw, "AES-GCM", false, ["encrypt", "decrypt"]);
    const whole = await crypto.subtle.importKey("raw", raw, "AES-GCM", true, ["encrypt"]);
    raw.fill(0);
    return new Vault(key, whole);
  }

  /** Opens the data key by a person's passphrase: WrongPassphrase when it is another. */
  static async open(module: WebAssembly.Module, wrap: Wrap, passphrase: string): Promise<Vault> {
    const by = await derive(module, wrap.salt, passphrase, wrap.passes, wrap.kib);
    try {
      const also = utf8.encode(wrap.staff_id);
      return await Vault.of(new Uint8Array(await crypto.subtle.decrypt({ name: "AES-GCM", iv: wrap.iv, additionalData: also }, by, wrap.key)));
    } catch {
      throw new WrongPassphrase();
    }
  }

  /** Wraps the data key for one more person. */
  async wrap(module: WebAssembly.Module, who: { staff_id: string; name: string; sign_in_name: string }, passphrase: string): Promise<Wrap> {
    const salt = random(16);
    const iv = random(12);
    const by = await derive(module, salt, passphrase, passes, kib);
    const raw = new Uint8Array(await crypto.subtle.exportKey("raw", this.whole));
    const key = await crypto.subtle.encrypt({ name: "AES-GCM", iv, additionalData: utf8.encode(who.staff_id) }, by, raw);
    raw.fill(0);
    return { ...who, salt, passes, kib, iv, key: new Uint8Array(key) };
  }

  /** Encrypts bytes. place says where they stand, and must be said again to open them: what was moved does not open. */
  async seal(place: string, bytes: Uint8Array<ArrayBuffer>): Promise<Sealed> {
    const iv = random(12);
    return { iv, data: await crypto.subtle.encrypt({ name: "AES-GCM", iv, additionalData: utf8.encode(place) }, this.key, bytes) };
  }

  /** Decrypts what seal encrypted for the same place. */
  async open(place: string, sealed: Sealed): Promise<Uint8Array<ArrayBuffer>> {
    const plain = await crypto.subtle.decrypt({ name: "AES-GCM", iv: sealed.iv, additionalData: utf8.encode(place) }, this.key, sealed.data);
    return new Uint8Array(plain);
  }
}

/** random is n random bytes. */
export function random(n: number): Uint8Array<ArrayBuffer> {
  return crypto.getRandomValues(new Uint8Array(n));
}

let waiting: Worker | undefined; // started, for the next passphrase

/** Starts the worker that derives a key, while the passphrase is typed. */
export function expectPassphrase(module: WebAssembly.Module): void {
  waiting ??= start(module);
}

function start(module: WebAssembly.Module): Worker {
  const worker = new Worker(trusted(deriveAddress), { type: "module" });
  const first: Start = { module };
  worker.postMessage(first);
  return worker;
}

/** derive makes a key of a passphrase, in a worker that is thrown away. */
async function derive(module: WebAssembly.Module, salt: Uint8Array, passphrase: string, n: number, memory: number): Promise<CryptoKey> {
  const worker = waiting ?? start(module);
  waiting = undefined;
  try {
    const raw = await new Promise<Uint8Array<ArrayBuffer>>((resolve, reject) => {
      worker.onmessage = (m: MessageEvent<Uint8Array<ArrayBuffer>>) => resolve(m.data);
      worker.onerror = () => reject(new Error("the key could not be derived: there may not be enough memory"));
      const order: Order = { salt, passphrase: utf8.encode(passphrase.normalize("NFC")), passes: n, kib: memory };
      worker.postMessage(order);
    });
    return await crypto.subtle.importKey("raw", raw, "AES-GCM", false, ["encrypt", "decrypt"]);
  } finally {
    worker.terminate();
  }
}
