// Sealing: each edit that the server does not have is stored a second time, sealed to the server's public key (HPKE of RFC 9180: DHKEM(X25519, HKDF-SHA256),
// HKDF-SHA256, AES-256-GCM). This tablet cannot open it. When the tablet is revoked, or nobody can unlock it any more, the sealed edits can be handed in.

import { Aes256Gcm, CipherSuite, DhkemX25519HkdfSha256, HkdfSha256 } from "@hpke/core";
import type { Border } from "./border";
import { type Identity, sign } from "./identity";

type Bytes = Uint8Array<ArrayBuffer>;

const suite = new CipherSuite({ kem: new DhkemX25519HkdfSha256(), kdf: new HkdfSha256(), aead: new Aes256Gcm() });

export class Sealer {
  private constructor(
    private readonly identity: Identity,
    private readonly key: CryptoKey,
  ) {}

  /**
   * Makes the sealer of an enrolled tablet. It is undefined when the server gave no key to seal to, or the browser cannot seal: that must keep nobody from
   * charting.
   */
  static async of(identity: Identity): Promise<Sealer | undefined> {
    try {
      const raw = Uint8Array.from(atob(identity.sealing_key), (c) => c.charCodeAt(0));
      return raw.length === 32 ? new Sealer(identity, await suite.kem.deserializePublicKey(raw)) : undefined;
    } catch {
      return undefined;
    }
  }

  /** Seals what has no sealed copy yet, and answers the blocks that store the copies. The caller makes no other call of the core until it resolves. */
  async blocks(core: Border): Promise<Bytes[]> {
    const blocks: Bytes[] = [];
    for (;;) {
      const { beside: statements } = core.call("to_seal", {});
      if (statements.length === 0) return blocks;
      const signatures = await Promise.all(statements.map((s) => sign(this.identity, s)));
      const { organisation_id, device_id } = this.identity;
      const { beside: texts } = core.call("seal_texts", { organisation_id, device_id }, signatures);
      const sealed = await Promise.all(statements.map((_, i) => this.seal(texts[2 * i] as Bytes, texts[2 * i + 1] as Bytes)));
      blocks.push(core.call("sealed", {}, sealed).block);
    }
  }

  /** One sealed text: the encapsulated key and then the ciphertext, as the server opens it. */
  private async seal(info: Bytes, text: Bytes): Promise<Bytes> {
    const { enc, ct } = await suite.seal({ recipientPublicKey: this.key, info: info.slice().buffer }, text.slice().buffer);
    const out = new Uint8Array(enc.byteLength + ct.byteLength);
    out.set(new Uint8Array(enc));
    out.set(new Uint8Array(ct), enc.byteLength);
    return out;
  }
}
