// The core on its disk: makes calls one after another, and stores what a call changed before the next one is made. When storing fails the core in memory
// says more than the disk, so it is thrown away and loaded anew.

import { type Answer, Border } from "./border";
import { CoreError } from "./core";
import type { SealedEdit } from "./handin";
import type { Sealer } from "./seal";
import { type Note, type Store, StoreError } from "./store";
import type { Sealed, Vault } from "./vault";

/** Host is what the core is told of the tablet. */
export interface Host {
  device_id: string;
  label: string;
  clinic_id: string;
  page_edits: number;
  answer_rows: number;
  people: { staff_id: string; name: string }[];
}

/** Under is what a disk works on. fresh is a core that was opened and holds nothing yet; without it one is opened. */
export interface Under {
  module: WebAssembly.Module;
  store: Store;
  sealer: Sealer | undefined;
  host: Host;
  changed: () => void;
  fresh?: Border;
}

/** Stored is the blocks of a store, as they are stored. */
export type Stored = Awaited<ReturnType<Store["blocks"]>>;

/** After so many blocks they are made into few, when nobody waits. */
const manyBlocks = 300;

/** Told is what a call answered, apart from what it stored. */
export type Told = Omit<Answer, "block">;

export class Disk {
  private turn: Promise<unknown> = Promise.resolve();
  private next = 1;
  private first = 1;
  private dead: unknown;

  private constructor(
    private readonly module: WebAssembly.Module,
    private readonly store: Store,
    private readonly vault: Vault,
    private readonly sealer: Sealer | undefined,
    private border: Border,
    private host: Host,
    private readonly changed: () => void,
  ) {}

  /** Makes the replica of a new store. */
  static async begin(under: Under, vault: Vault, replica: string, limit: boolean): Promise<Disk> {
    const { host } = under;
    const d = await Disk.on(under, vault);
    await d.call("begin", { replica_id: replica, limit_scope: limit, host });
    return d;
  }

  /** Loads the replica that a store holds. A gap in the store is a StoreError, "damaged". */
  static async load(under: Under, vault: Vault, blocks: Promise<Stored>): Promise<Disk> {
    const d = await Disk.on(under, vault);
    await d.reload(blocks, d.border);
    return d;
  }

  private static async on({ module, store, sealer, host, changed, fresh }: Under, vault: Vault): Promise<Disk> {
    return new Disk(module, store, vault, sealer, fresh ?? (await Border.open(module)), host, changed);
  }

  /** Makes a call; what it changed is on the disk when this resolves. Notes are stored with it, in the same transaction. */
  call(method: string, request: unknown, beside: readonly Uint8Array[] = [], notes: readonly Note[] = []): Promise<Told> {
    return this.queue(() => this.make(method, request, beside, notes));
  }

  /** Tells the core anew what the tablet knows of itself. */
  async tell(host: Host): Promise<void> {
    this.host = host;
    await this.call("host", { host });
  }

  /** Makes few blocks of many; for when nobody waits. */
  compact(): Promise<void> {
    return this.queue(async () => {
      if (this.next - this.first < manyBlocks) return;
      const { sealed } = await this.store.blocks();
      const { beside } = this.border.call("compact", {}, await this.unseal(this.first, sealed));
      const from = this.next;
      const fresh = await Promise.all(beside.map((b, i) => this.vault.seal(place(from + i), b)));
      await this.store.replace(from, fresh);
      this.first = from;
      this.next = from + fresh.length;
    });
  }

  /**
   * Wipes what can be read, since the tablet was revoked: what was not sent yet stays, sealed, with what else is to be kept under its name. Nothing more is
   * done here afterwards.
   */
  wipe(keep: Readonly<Record<string, unknown>>): Promise<void> {
    return this.queue(async () => {
      const late = (await this.sealer?.blocks(this.border)) ?? [];
      const { first, sealed } = await this.store.blocks();
      const { json, beside } = this.border.call("wipe", {}, [...(await this.unseal(first, sealed)), ...late]);
      const outbox = (json as { edits: { replica: string; counter: number }[] }).edits.map(
        (e, i): SealedEdit => ({ ...e, sealed: (beside[i] as Uint8Array<ArrayBuffer>).slice() }),
      );
      await this.store.wipe({ ...keep, outbox });
      this.dead = new StoreError("closed");
    });
  }

  /** Resolves when everything asked so far is done. */
  idle(): Promise<unknown> {
    return this.turn;
  }

  private queue<T>(what: () => Promise<T>): Promise<T> {
    const mine = this.turn.then(() => {
      if (this.dead) throw this.dead;
      return what();
    });
    this.turn = mine.catch(() => undefined);
    return mine;
  }

  private async make(method: string, request: unknown, beside: readonly Uint8Array[], notes: readonly Note[]): Promise<Told> {
    let answer: Answer;
    try {
      answer = this.border.call(method, request, beside);
    } catch (cause) {
      if (!(cause instanceof CoreError) || cause.is("REASON_INTERNAL")) await this.reload();
      throw cause;
    }
    if (answer.block.length === 0 && notes.length === 0) return answer;
    try {
      await this.keep(answer.block.length > 0 ? [answer.block, ...(await this.seals())] : [], notes);
    } catch (cause) {
      await this.reload();
      throw cause;
    }
    if (answer.block.length > 0) this.changed();
    return answer;
  }

  /** The sealed copies that are stored with a change. A browser that fails to seal keeps nobody from charting: the next change tries again. */
  private async seals(): Promise<Uint8Array<ArrayBuffer>[]> {
    try {
      return (await this.sealer?.blocks(this.border)) ?? [];
    } catch (cause) {
      if (cause instanceof DOMException) return [];
      throw cause;
    }
  }

  private async keep(blocks: readonly Uint8Array<ArrayBuffer>[], notes: readonly Note[]): Promise<void> {
    if (blocks.length === 0) {
      for (const n of notes) await this.store.setNote(n);
      return;
    }
    const from = this.next;
    await this.store.append(from, await Promise.all(blocks.map((b, i) => this.vault.seal(place(from + i), b))), notes);
    this.next += blocks.length;
  }

  /** Opens another core and loads what is stored. When that fails too nothing more is done here. */
  private async reload(stored = this.store.blocks(), fresh?: Border): Promise<void> {
    try {
      const { first, sealed } = await stored;
      const blocks = await this.unseal(first, sealed);
      this.border = fresh ?? (await Border.open(this.module));
      this.border.call("load", { host: this.host }, blocks);
      this.first = first;
      this.next = first + sealed.length;
    } catch (cause) {
      this.dead = cause instanceof StoreError ? cause : new StoreError("damaged", cause);
      throw this.dead;
    }
    this.changed();
  }

  private unseal(first: number, sealed: readonly Sealed[]): Promise<Uint8Array<ArrayBuffer>[]> {
    return Promise.all(sealed.map((s, i) => this.vault.open(place(first + i), s)));
  }
}

function place(number: number): string {
  return `block:${number}`;
}
