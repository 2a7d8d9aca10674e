// Values and fields of a record in words, for people who must choose between them.

import { t, word, dayText } from "../i18n";
import { mlOf, mmOf, quantityText, unitsOf } from "../ui/decimal";

type Json = { [key: string]: unknown };

/** fieldName is what a path of a record is about: "injections[ID].planned" is "Planned dose". */
export function fieldName(path: string): string {
  const plain = path.replace(/\[[^\]]*\]/g, "");
  return word("field", plain.replaceAll(".", "_"));
}

/** doseOf is a value that is a dose: the product and the units apart, so that neither is ever cut; null for any other. */
export function doseOf(json: string): { product: string; units: string } | null {
  try {
    const v = JSON.parse(json) as Json;
    return typeof v?.dose_milliunits === "number" && typeof v.product === "string" ? { product: v.product, units: unitsOf(v.dose_milliunits) } : null;
  } catch {
    return null;
  }
}

/** valueText is a value in words: doses, volumes, places and days as they are read elsewhere; what has no words of its own is listed part by part. */
export function valueText(json: string): string {
  let value: unknown;
  try { value = JSON.parse(json); } catch { return json; }
  return text(value);
}

function text(value: unknown): string {
  if (value === null || value === undefined) return t("word.none");
  if (Array.isArray(value)) return value.map(text).join(", ");
  if (typeof value !== "object") return word("value", String(value));
  const v = value as Json;
  if (typeof v.dose_milliunits === "number" && typeof v.product === "string") return `${v.product} ${quantityText(unitsOf(v.dose_milliunits), "units")}`;
  if (typeof v.frame === "string") return `${word("frame", v.frame)}: ${mmOf(Number(v.x_micrometers ?? 0))}, ${quantityText(mmOf(Number(v.y_micrometers ?? 0)), "mm")}`;
  if (typeof v.year === "number") return dayText(v as never);
  return Object.entries(v).filter(([k]) => !["by", "at"].includes(k)).map(([k, x]) => part(k, x)).join("; ");
}

function part(name: string, value: unknown): string {
  if (name.endsWith("_milliunits")) return quantityText(unitsOf(Number(value)), "units");
  if (name.endsWith("_nanoliters")) return `${name.slice(0, -11).replaceAll("_", " ")}: ${quantityText(mlOf(String(value)), "mL")}`;
  return `${name.replaceAll("_", " ")}: ${text(value)}`;
}
