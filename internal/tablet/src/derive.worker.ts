// The worker that derives one key from one passphrase and is then thrown away, with the memory that it took. It is made before it is needed: it starts the
// core while somebody types.

import { Border } from "./border";

/** Start is what the worker is sent first. */
export interface Start {
  module: WebAssembly.Module;
}

/** Order is what the worker is asked, once. */
export interface Order {
  salt: Uint8Array;
  passphrase: Uint8Array;
  passes: number;
  kib: number;
}

const me = self as unknown as DedicatedWorkerGlobalScope;

let core: Promise<Border>;

me.onmessage = async (message: MessageEvent<Start | Order>) => {
  if ("module" in message.data) {
    core = Border.open(message.data.module);
    return;
  }
  const { salt, passphrase, passes, kib } = message.data;
  const key = (await core).derive(salt, passphrase, passes, kib);
  me.postMessage(key, [key.buffer]);
};
