// The words of the screens. Every sentence stands in a catalogue, one file a language; a second language is a second file with the same keys, and the
// compiler says which are missing. {name} in a sentence is filled in; {name} of a quantity is filled in whole, number and unit, and never put together
// from parts, so that no language can split them.

import { signal } from "@preact/signals";
import { en as screens } from "./en";
import { desk } from "./en-desk";

const en = { ...screens, ...desk };

/** Key names a sentence. */
export type Key = keyof typeof en;

/** Catalogue is a language: every sentence. */
export type Catalogue = Readonly<Record<Key, string>>;

const languages: Readonly<Record<string, Catalogue>> = { en };

/** language is the language of the screens, a tag of BCP 47. */
export const language = signal("en");

/** languageTags are the languages that there are. */
export const languageTags = Object.keys(languages);

/** Values fill the places of a sentence. */
export type Values = Readonly<Record<string, string | number>>;

const fill = (sentence: string, values: Values) => sentence.replace(/\{(\w+)\}/g, (whole, name: string) => (name in values ? String(values[name]) : whole));

/** t is a sentence in the language of the screens. */
export function t(key: Key, values: Values = {}): string {
  return fill((languages[language.value] ?? en)[key], values);
}

/** word is what people call a code of data, such as a muscle. One that the catalogue lacks, such as a muscle of a later formulary, is shown as data has
    it, with spaces: it must never look like nothing. */
export function word(group: string, code: string | undefined): string {
  if (!code) return t("word.none");
  const catalogue: Readonly<Record<string, string>> = languages[language.value] ?? en;
  return catalogue[`${group}.${code}`] ?? code.replaceAll("_", " ");
}

const months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/** dayText is a date that cannot be read two ways: "14 Mar 2026". */
export function dayText(day: { year?: number; month?: number; day?: number } | undefined): string {
  if (!day?.year) return t("date.unknown");
  if (!day.month) return String(day.year);
  const month = word("month", months[day.month - 1]);
  return day.day ? `${day.day}\u00a0${month}\u00a0${day.year}` : `${month}\u00a0${day.year}`;
}

const two = (n: number) => String(n).padStart(2, "0");

/** timeText is a time of the day on this tablet's clock, of 24 hours. */
export function timeText(moment: string | number | undefined): string {
  if (moment === undefined) return t("date.unknown");
  const at = new Date(moment);
  return Number.isNaN(at.getTime()) ? t("date.unknown") : `${two(at.getHours())}:${two(at.getMinutes())}`;
}

/** momentText is a day and a time. */
export function momentText(moment: string | number | undefined): string {
  if (moment === undefined) return t("date.unknown");
  const at = new Date(moment);
  return `${dayText({ year: at.getFullYear(), month: at.getMonth() + 1, day: at.getDate() })} ${timeText(moment)}`;
}
