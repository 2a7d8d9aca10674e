// Small things of the tablet's own, encrypted: tokens, what is half typed, how the clock stands.

import { random } from "./vault";
import type { Vault } from "./vault";
import type { Note, Store } from "./store";

interface Plain {
  name: string;
  value: string;
}

export class Notes {
  private readonly all = new Map<string, { id: string; value: string }>();

  private constructor(
    private readonly store: Store,
    private readonly vault: Vault,
  ) {}

  static async load(store: Store, vault: Vault): Promise<Notes> {
    const notes = new Notes(store, vault);
    for (const n of await store.notes()) {
      const plain = JSON.parse(new TextDecoder().decode(await vault.open(`note:${n.id}`, n.sealed))) as Plain;
      notes.all.set(plain.name, { id: n.id, value: plain.value });
    }
    return notes;
  }

  /** What is under a name; empty when nothing is. */
  get(name: string): string {
    return this.all.get(name)?.value ?? "";
  }

  /** Stores a value under a name; an empty one is forgotten. */
  async set(name: string, value: string): Promise<void> {
    const id = this.all.get(name)?.id;
    if (value === "") {
      if (id) await this.store.deleteNote(id);
      this.all.delete(name);
      return;
    }
    const note = await this.seal(name, value);
    await this.store.setNote(note);
    this.took(note, name, value);
  }

  /** A note to be stored with something else; took is called when it is. */
  async seal(name: string, value: string): Promise<Note> {
    const id = this.all.get(name)?.id ?? Array.from(random(16), (b) => b.toString(16).padStart(2, "0")).join("");
    const plain: Plain = { name, value };
    return { id, sealed: await this.vault.seal(`note:${id}`, new TextEncoder().encode(JSON.stringify(plain))) };
  }

  took(note: Note, name: string, value: string): void {
    this.all.set(name, { id: note.id, value });
  }
}
