// Hooks for screens: what the core says, read again whenever a record may look different.

import { useEffect, useRef, useState } from "preact/hooks";
import type { Core } from "./core";

/** Read is what a question to the core gave so far. */
export interface Read<T> {
  /** The newest answer; undefined before the first. It stays while a newer one is fetched. */
  value: T | undefined;
  /** Why the newest question was refused; undefined when it was not. */
  error: unknown;
}

/**
 * Asks the core, and asks again when a record changed or one of deps did. An answer that comes after a newer question is left aside, so that a screen
 * never goes back in time.
 */
export function useRead<T>(core: Core, ask: () => Promise<T>, deps: readonly unknown[]): Read<T> {
  const [read, setRead] = useState<Read<T>>({ value: undefined, error: undefined });
  const newest = useRef(0);
  const revision = core.revision.value;
  useEffect(() => {
    const mine = ++newest.current;
    ask().then(
      (value) => mine === newest.current && setRead({ value, error: undefined }),
      (error: unknown) => mine === newest.current && setRead((old) => ({ value: old.value, error })),
    );
  }, [core, revision, ...deps]);
  return read;
}
