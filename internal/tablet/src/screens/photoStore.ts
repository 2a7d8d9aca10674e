// Where photographs are kept on the tablet. A core that keeps none leaves the screen saying so, and takes no picture that it would lose.

import type { Core } from "../core";

export interface PhotoStore {
  /** Keeps a picture encrypted, and answers its hash in base64 and its size. It is on the disk when this resolves. */
  keepPhoto(picture: Blob): Promise<{ sha256: string; size_bytes: string }>;
  /** An address of this page for a kept picture; empty when the tablet does not hold it. */
  photoUrl(sha256: string): Promise<string>;
}

/** photoStore is the core's store of photographs; undefined when it has none. */
export function photoStore(core: Core): PhotoStore | undefined {
  const store = core as Core & Partial<PhotoStore>;
  return store.keepPhoto && store.photoUrl ? (store as PhotoStore) : undefined;
}
