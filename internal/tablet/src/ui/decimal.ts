// Quantities as text, and the shift between the decimals that people read and type and the whole numbers that records hold. Only the point is moved,
// digit by digit: a dose never passes through a floating number. What a dose means, and whether it may be, the core says.

const nbsp = "\u00a0";

/** Unit is a unit as it is written: in full, and never another way (safe-dose practice, docs/arithmetic.md). */
export type Unit = "units" | "mL" | "mm";

const plain = /^(0|[1-9]\d*)(\.\d*[1-9])?$/;

/** grouped is a plain decimal with commas from 1,000; null for what is none. */
export function grouped(decimal: string): string | null {
  const negative = decimal.startsWith("-");
  const size = negative ? decimal.slice(1) : decimal;
  if (!plain.test(size)) return null;
  const [whole, part] = size.split(".");
  const text = whole!.replace(/\B(?=(\d{3})+$)/g, ",") + (part ? `.${part}` : "");
  return negative ? `\u2212${text}` : text;
}

/** quantityText is a quantity for people: "1,000 units" with a space that does not break. What is no plain decimal is shown as it came, between quotes,
    so that nobody takes it for a dose. */
export function quantityText(decimal: string, unit: Unit): string {
  const text = grouped(decimal);
  return text === null ? `\u201c${decimal}\u201d` : text + nbsp + unit;
}

/** millimetres is a distance in mm as the core wrote it, shown to a tenth. */
export function millimetres(decimal: string): string {
  const [whole, part = ""] = decimal.split(".");
  const short = part.slice(0, 1);
  return quantityText(short && short !== "0" ? `${whole}.${short}` : whole!, "mm");
}

/** scaled is a plain decimal as a whole number of its last places: scaled("2.5", 3) is "2500". null for what has more places or is none. */
export function scaled(decimal: string, places: number): string | null {
  const negative = decimal.startsWith("-");
  const size = negative ? decimal.slice(1) : decimal;
  if (!plain.test(size)) return null;
  const [whole, part = ""] = size.split(".");
  if (part.length > places) return null;
  const digits = (whole! + part.padEnd(places, "0")).replace(/^0+(?=\d)/, "");
  return negative && digits !== "0" ? `-${digits}` : digits;
}

/** unscaled is the plain decimal of a whole number of its last places: unscaled("2500", 3) is "2.5". */
export function unscaled(whole: string | number, places: number): string {
  const text = String(whole);
  const negative = text.startsWith("-");
  const digits = (negative ? text.slice(1) : text).padStart(places + 1, "0");
  const cut = digits.length - places;
  const part = digits.slice(cut).replace(/0+$/, "");
  return (negative ? "-" : "") + digits.slice(0, cut) + (part ? `.${part}` : "");
}

/** unitsOf is milliunits of a record as units. */
export const unitsOf = (milliunits: number | undefined): string => unscaled(milliunits ?? 0, 3);

/** milliunits is units as a record holds them; null for what is no dose. */
export function milliunits(units: string): number | null {
  const text = scaled(units, 3);
  return text === null ? null : Number(text);
}

/** mlOf is nanolitres of a record as millilitres. */
export const mlOf = (nanoliters: string | undefined): string => unscaled(nanoliters ?? "0", 6);

/** nanoliters is millilitres as a record holds them; null for what is no volume. */
export const nanoliters = (ml: string): string | null => scaled(ml, 6);

/** mmOf is micrometres of a record as millimetres. */
export const mmOf = (micrometers: number | undefined): string => unscaled(micrometers ?? 0, 3);

/** micrometers is millimetres as a record holds them; null for what is no distance. */
export function micrometers(mm: string): number | null {
  const text = scaled(mm, 3);
  return text === null ? null : Number(text);
}

/** sum adds plain decimals of at most three places; what is none is left out of nothing: the answer is then null. */
export function sum(decimals: readonly string[]): string | null {
  let all = 0n;
  for (const d of decimals) {
    const text = scaled(d, 6);
    if (text === null) return null;
    all += BigInt(text);
  }
  return unscaled(all.toString(), 6);
}
