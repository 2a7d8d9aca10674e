// Ids: random ones for records and elements, ones that begin with the time for edits.

/** A fresh random id. */
export function newId(): string {
  return crypto.randomUUID();
}

/** A fresh UUIDv7: 48 bits of the time in ms, then random ones. Nothing is ordered by it. */
export function newEditId(now: number = Date.now()): string {
  const b = crypto.getRandomValues(new Uint8Array(16));
  for (let i = 0; i < 6; i++) b[i] = Math.floor(now / 2 ** (8 * (5 - i))) % 256;
  b[6] = 0x70 | ((b[6] as number) & 0x0f);
  b[8] = 0x80 | ((b[8] as number) & 0x3f);
  const hex = Array.from(b, (x) => x.toString(16).padStart(2, "0")).join("");
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}
