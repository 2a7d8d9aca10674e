// What the build puts in: the addresses of the other files of this version, and the version itself.

declare const BUILT: { version: string; core: string; derive: string };

/** The version of this build: a hash over all of its files. */
export const version: string = BUILT.version;
/** Where the core is, as WebAssembly. */
export const coreAddress: string = BUILT.core;
/** Where the script of the worker that derives keys is. */
export const deriveAddress: string = BUILT.derive;

/** Trusted gives the addresses of this build's own scripts, and nothing else, to what the browser guards by Trusted Types. */
interface Trusted {
  createScriptURL(address: string): string;
}

interface WithTrustedTypes {
  trustedTypes?: { createPolicy(name: string, rules: { createScriptURL(address: string): string }): Trusted };
}

let policy: Trusted | undefined;

/** trusted marks the address of one of our own scripts as one that may be run. */
export function trusted(address: string): string {
  const types = (globalThis as WithTrustedTypes).trustedTypes;
  policy ??= types?.createPolicy("needlebook", { createScriptURL: own }) ?? { createScriptURL: own };
  return policy.createScriptURL(address);
}

function own(address: string): string {
  if (address === deriveAddress || address === "/sw.js") return address;
  throw new TypeError("not a script of this build");
}
