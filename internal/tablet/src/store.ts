// The one file that knows IndexedDB. What it holds of patients is encrypted before it comes here.
//
// meta   what must be known before anyone unlocks: the enrolment, the device's key, the count of boots; of a revoked tablet its sealed edits
// wraps  each person's wrap of the data key
// blocks what the core's calls changed, in order; their numbers have no gaps, and meta.head names the newest
// notes  small things of the tablet's own: tokens, what is half typed
//
// Every write is one transaction with strict durability: it resolves when the disk has it.

import type { Sealed, Wrap } from "./vault";

const name = "needlebook";
const layout = 1;

/** Trouble is why the store cannot be used; each has a screen of its own. */
export type Trouble = "full" | "closed" | "newer" | "damaged" | "unavailable";

/** StoreError says that something was not stored, or cannot be read. */
export class StoreError extends Error {
  constructor(
    readonly trouble: Trouble,
    cause?: unknown,
  ) {
    super(`store: ${trouble}`, { cause });
    this.name = "StoreError";
  }
}

/** Note is a small thing under a name. */
export interface Note {
  id: string;
  sealed: Sealed;
}

export class Store {
  private constructor(
    private readonly db: IDBDatabase,
    lost: (trouble: Trouble) => void,
  ) {
    db.onclose = () => lost("closed");
    db.onversionchange = () => {
      db.close();
      lost("newer");
    };
  }

  /** Opens the store, and makes it when there is none. lost is called when the browser takes it away later. */
  static open(lost: (trouble: Trouble) => void): Promise<Store> {
    return new Promise((resolve, reject) => {
      let asked: IDBOpenDBRequest;
      try {
        asked = indexedDB.open(name, layout);
      } catch (cause) {
        reject(new StoreError("unavailable", cause));
        return;
      }
      asked.onupgradeneeded = () => {
        for (const [table, key] of [["meta"], ["wraps", "staff_id"], ["blocks"], ["notes", "id"]] as [string, string?][]) {
          asked.result.createObjectStore(table, key ? { keyPath: key } : {});
        }
      };
      asked.onsuccess = () => resolve(new Store(asked.result, lost));
      asked.onerror = () => reject(new StoreError(asked.error?.name === "VersionError" ? "newer" : "unavailable", asked.error));
      asked.onblocked = () => reject(new StoreError("closed"));
    });
  }

  close(): void {
    this.db.close();
  }

  /** Reads something of meta; undefined when it is not there. */
  meta<T>(key: string): Promise<T | undefined> {
    return this.read<T | undefined>("meta", (s) => s.get(key));
  }

  /** Writes something of meta. */
  setMeta(key: string, value: unknown): Promise<void> {
    return this.write(["meta"], (t) => t.objectStore("meta").put(value, key));
  }

  wraps(): Promise<Wrap[]> {
    return this.read<Wrap[]>("wraps", (s) => s.getAll());
  }

  setWrap(wrap: Wrap): Promise<void> {
    return this.write(["wraps"], (t) => t.objectStore("wraps").put(wrap));
  }

  notes(): Promise<Note[]> {
    return this.read<Note[]>("notes", (s) => s.getAll());
  }

  setNote(note: Note): Promise<void> {
    return this.write(["notes"], (t) => t.objectStore("notes").put(note));
  }

  deleteNote(id: string): Promise<void> {
    return this.write(["notes"], (t) => t.objectStore("notes").delete(id));
  }

  /** The blocks in order, with the number of the first. A gap or a missing end is a damaged store. */
  async blocks(): Promise<{ first: number; sealed: Sealed[] }> {
    const [keys, sealed, head] = await Promise.all([
      this.read<IDBValidKey[]>("blocks", (s) => s.getAllKeys()),
      this.read<Sealed[]>("blocks", (s) => s.getAll()),
      this.meta<number>("head"),
    ]);
    const first = (keys[0] as number | undefined) ?? 1;
    if (keys.length !== (head ?? 0) - first + 1 || keys.some((k, i) => k !== first + i)) throw new StoreError("damaged");
    return { first, sealed };
  }

  /** Appends blocks from a number on, at least one. */
  append(first: number, blocks: readonly Sealed[], notes: readonly Note[] = []): Promise<void> {
    return this.write(["blocks", "meta", "notes"], (t) => {
      blocks.forEach((b, i) => t.objectStore("blocks").add(b, first + i));
      t.objectStore("meta").put(first + blocks.length - 1, "head");
      for (const n of notes) t.objectStore("notes").put(n);
    });
  }

  /** Puts few blocks in the place of all: those given get the numbers from first on. */
  replace(first: number, blocks: readonly Sealed[]): Promise<void> {
    return this.write(["blocks", "meta"], (t) => {
      t.objectStore("blocks").clear();
      blocks.forEach((b, i) => t.objectStore("blocks").add(b, first + i));
      t.objectStore("meta").put(first + blocks.length - 1, "head");
    });
  }

  /** Removes everything that a person of this tablet could read, and the wraps of its key, and keeps what is given: all of it, or nothing. */
  wipe(keep: Readonly<Record<string, unknown>>): Promise<void> {
    return this.write(["meta", "wraps", "blocks", "notes"], (t) => {
      for (const table of ["meta", "wraps", "blocks", "notes"]) t.objectStore(table).clear();
      for (const [key, value] of Object.entries(keep)) t.objectStore("meta").put(value, key);
    });
  }

  private read<T>(table: string, by: (store: IDBObjectStore) => IDBRequest): Promise<T> {
    return new Promise((resolve, reject) => {
      try {
        const asked = by(this.db.transaction(table).objectStore(table));
        asked.onsuccess = () => resolve(asked.result as T);
        asked.onerror = () => reject(troubleOf(asked.error));
      } catch (cause) {
        reject(troubleOf(cause));
      }
    });
  }

  private write(tables: string[], by: (t: IDBTransaction) => void): Promise<void> {
    return new Promise((resolve, reject) => {
      try {
        const t = this.db.transaction(tables, "readwrite", { durability: "strict" });
        t.oncomplete = () => resolve();
        t.onabort = () => reject(troubleOf(t.error));
        t.onerror = () => undefined; // it aborts
        by(t);
        t.commit();
      } catch (cause) {
        reject(troubleOf(cause));
      }
    });
  }
}

function troubleOf(cause: unknown): StoreError {
  const kind = (cause as { name?: string } | null)?.name;
  if (kind === "QuotaExceededError") return new StoreError("full", cause);
  if (kind === "InvalidStateError") return new StoreError("closed", cause);
  if (kind === "ConstraintError") return new StoreError("damaged", cause); // another window wrote
  return new StoreError("unavailable", cause);
}
