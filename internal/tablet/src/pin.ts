// PINs: a lock of the screen while the store is open, and nothing else. They are kept as slow hashes, inside the encrypted store.

import type { Notes } from "./notes";
import { random } from "./vault";

const most = 5;
const rounds = 210_000;

interface Kept {
  salt: number[];
  hash: number[];
}

export class Pin {
  private readonly wrong = new Map<string, number>();

  constructor(private readonly notes: () => Notes) {}

  has(staff: string): boolean {
    return this.notes()?.get(noteOf(staff)) !== "" && (this.wrong.get(staff) ?? 0) < most;
  }

  async set(staff: string, pin: string): Promise<void> {
    const salt = random(16);
    const kept: Kept = { salt: [...salt], hash: [...(await hash(pin, salt))] };
    await this.notes().set(noteOf(staff), JSON.stringify(kept));
  }

  /** Whether the PIN is hers. Wrong ones are counted, and after five none is tried any more until the passphrase was given. */
  async try(staff: string, pin: string): Promise<boolean> {
    if (!this.has(staff)) return false;
    const kept = JSON.parse(this.notes().get(noteOf(staff))) as Kept;
    const got = await hash(pin, new Uint8Array(kept.salt));
    const same = got.every((b, i) => b === kept.hash[i]);
    this.wrong.set(staff, same ? 0 : (this.wrong.get(staff) ?? 0) + 1);
    return same;
  }

  /** The passphrase was given: wrong PINs of before do not count any more. */
  forgive(staff: string): void {
    this.wrong.delete(staff);
  }
}

function noteOf(staff: string): string {
  return `pin/${staff}`;
}

async function hash(pin: string, salt: Uint8Array<ArrayBuffer>): Promise<Uint8Array> {
  const key = await crypto.subtle.importKey("raw", new TextEncoder().encode(pin), "PBKDF2", false, ["deriveBits"]);
  return new Uint8Array(await crypto.subtle.deriveBits({ name: "PBKDF2", hash: "SHA-256", salt, iterations: rounds }, key, 256));
}
