// The worker that derives one key from one passphrase and is then thrown away, with the memory that it took.

import { Border } from "./border";

/** Order is what the worker is asked, once. */
export interface Order {
  module: WebAssembly.Module;
  salt: Uint8Array;
  passphrase: Uint8Array;
  passes: number;
  kib: number;
}

const me = self as unknown as DedicatedWorkerGlobalScope;

me.onmessage = async (message: MessageEvent<Order>) => {
  const { module, salt, passphrase, passes, kib } = message.data;
  const core = await Border.open(module);
  const key = core.derive(salt, passphrase, passes, kib);
  me.postMessage(key, [key.buffer]);
};
