// The one file that knows WebAssembly: it loads the core and carries calls over.

import { CoreError, type Fault } from "./core";

/** Answer is what a call gave: its JSON, the block to be stored (empty when nothing is), and bytes beside it. */
export interface Answer {
  json: unknown;
  block: Uint8Array<ArrayBuffer>;
  beside: Uint8Array<ArrayBuffer>[];
}

interface Exports {
  memory: WebAssembly.Memory;
  _initialize(): void;
  in(bytes: number): number;
  out(): number;
  core(): number;
  derive(passes: number, kib: number): number;
}

/** Border is one running core. It is dead after a trap; the host then opens another. */
export class Border {
  private constructor(private readonly run: Exports) {}

  /** Starts a compiled core. */
  static async open(module: WebAssembly.Module): Promise<Border> {
    let run: Exports | undefined;
    const system = host(() => (run as Exports).memory);
    const imports: Record<string, WebAssembly.ImportValue> = {};
    for (const wanted of WebAssembly.Module.imports(module)) imports[wanted.name] = system[wanted.name] ?? (() => notSupported);
    const instance = await WebAssembly.instantiate(module, { wasi_snapshot_preview1: imports });
    run = instance.exports as unknown as Exports;
    run._initialize();
    return new Border(run);
  }

  /** Makes one call. A refusal is a CoreError; anything else that is thrown means that this core is dead. */
  call(method: string, request: unknown, beside: readonly Uint8Array[] = []): Answer {
    const parts = [utf8.encode(method), utf8.encode(JSON.stringify(request)), ...beside];
    const bytes = this.carry(frame(parts), () => this.run.core());
    const [json, block, ...rest] = unframe(bytes);
    const value: unknown = JSON.parse(text.decode(json));
    if (!block) throw new CoreError((value as { faults: Fault[] }).faults);
    return { json: value, block, beside: rest };
  }

  /** Derives a key of 32 bytes by Argon2id; for a worker that is thrown away, since its memory is never given back. */
  derive(salt: Uint8Array, passphrase: Uint8Array, passes: number, kib: number): Uint8Array<ArrayBuffer> {
    const both = new Uint8Array(salt.length + passphrase.length);
    both.set(salt);
    both.set(passphrase, salt.length);
    return this.carry(both, () => this.run.derive(passes, kib));
  }

  private carry(bytes: Uint8Array, by: () => number): Uint8Array<ArrayBuffer> {
    const at = this.run.in(bytes.length);
    new Uint8Array(this.run.memory.buffer, at, bytes.length).set(bytes);
    const n = by();
    const from = this.run.out(); // before the view: memory may grow
    return new Uint8Array(this.run.memory.buffer, from, n).slice();
  }
}

const utf8 = new TextEncoder();
const text = new TextDecoder();

/** frame joins parts, each behind its length as 4 bytes, little-endian. */
function frame(parts: readonly Uint8Array[]): Uint8Array {
  const out = new Uint8Array(parts.reduce((n, p) => n + 4 + p.length, 0));
  const lengths = new DataView(out.buffer);
  let at = 0;
  for (const p of parts) {
    lengths.setUint32(at, p.length, true);
    out.set(p, at + 4);
    at += 4 + p.length;
  }
  return out;
}

function unframe(bytes: Uint8Array<ArrayBuffer>): Uint8Array<ArrayBuffer>[] {
  const lengths = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const parts: Uint8Array<ArrayBuffer>[] = [];
  for (let at = 0; at < bytes.length; ) {
    const n = lengths.getUint32(at, true);
    parts.push(bytes.subarray(at + 4, at + 4 + n));
    at += 4 + n;
  }
  return parts;
}

const done = 0;
const badFile = 8;
const notSupported = 52;

/** host is the little of a system that the Go runtime asks for: clocks, random bytes, and a place for its last words. */
function host(memory: () => WebAssembly.Memory): Record<string, (...args: never[]) => unknown> {
  const view = () => new DataView(memory().buffer);
  const none = (count: number, size: number) => {
    view().setUint32(count, 0, true);
    view().setUint32(size, 0, true);
    return done;
  };
  return {
    sched_yield: () => done,
    proc_exit: (code: number) => {
      throw new Error(`the core ended with ${code}`);
    },
    args_sizes_get: none,
    args_get: () => done,
    environ_sizes_get: none,
    environ_get: () => done,
    fd_prestat_get: () => badFile,
    clock_time_get: (id: number, _precision: bigint, at: number) => {
      const now = id === 0 ? Date.now() : performance.now();
      view().setBigUint64(at, BigInt(Math.round(now * 1e6)), true);
      return done;
    },
    random_get: (at: number, n: number) => {
      crypto.getRandomValues(new Uint8Array(memory().buffer, at, n));
      return done;
    },
    fd_write: (_file: number, list: number, count: number, written: number) => {
      let n = 0;
      for (let i = 0; i < count; i++) {
        const at = view().getUint32(list + 8 * i, true);
        const size = view().getUint32(list + 8 * i + 4, true);
        console.error(text.decode(new Uint8Array(memory().buffer, at, size).slice()));
        n += size;
      }
      view().setUint32(written, n, true);
      return done;
    },
  };
}
