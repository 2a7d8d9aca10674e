// What the screens of the desk have in common: the state of a question, a table that folds on a narrow screen, asking for a reason, and names.

import type { ComponentChildren } from "preact";
import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { Date as Day, DoseSpan, Role } from "../messages";
import { t } from "../i18n";
import { Field } from "../ui/Field";
import { quantityText } from "../ui/decimal";
import { useRead } from "../use";

/** State says what a question waits for, or why there is no answer. */
export function State({ asked }: { asked: { busy: boolean; trouble: readonly string[]; value?: unknown; again: () => void } }) {
  if (asked.trouble.length > 0) {
    return (
      <section class="message hold stack tight" role="alert">
        {asked.trouble.map((s) => <p class="strong">{s}</p>)}
        {asked.value !== undefined && <p>{t("desk.old")}</p>}
        <div><button type="button" class="button" onClick={asked.again}>{t("desk.again")}</button></div>
      </section>
    );
  }
  return <p role="status" class={asked.busy ? "soft" : "only-read"}>{asked.busy ? t("desk.asking") : t("desk.answered")}</p>;
}

/** Trouble says why something was not done. */
export function Trouble({ trouble }: { trouble: readonly string[] }) {
  if (trouble.length === 0) return null;
  return <section class="message hold stack tight" role="alert"><p class="strong">{t("desk.not_done")}</p>{trouble.map((s) => <p>{s}</p>)}</section>;
}

/** Table is a table whose first cell of a row names the row. */
export function Table({ caption, heads, rows, empty }: { caption: string; heads: readonly string[]; rows: readonly (readonly ComponentChildren[])[]; empty: string }) {
  if (rows.length === 0) return <p class="soft">{empty}</p>;
  return (
    <table class="lead" style={{ width: "100%" }}>
      <caption class="only-read">{caption}</caption>
      <thead><tr>{heads.map((h) => <th scope="col">{h}</th>)}</tr></thead>
      <tbody>{rows.map((cells) => <tr>{cells.map((c, i) => (i === 0 ? <th scope="row">{c}</th> : <td data-label={heads[i]}>{c}</td>))}</tr>)}</tbody>
    </table>
  );
}

/** More asks for what follows. */
export function More({ more, busy }: { more: (() => void) | undefined; busy: boolean }) {
  return more ? <div><button type="button" class="button" aria-disabled={busy} onClick={() => busy || more()}>{t("desk.more")}</button></div> : null;
}

interface ReasonProps {
  readonly id: string;
  readonly label: string;
  readonly hint?: string;
  readonly action: string;
  /** True for what cannot be taken back easily. */
  readonly warn?: boolean;
  readonly optional?: boolean;
  readonly busy: boolean;
  readonly onDo: (reason: string) => void;
  readonly onClose?: () => void;
  readonly children?: ComponentChildren;
}

/** Reason asks for words and then does something; an empty one is said to be missing rather than sent. */
export function Reason({ id, label, hint, action, warn, optional, busy, onDo, onClose, children }: ReasonProps) {
  const [text, setText] = useState("");
  const [tried, setTried] = useState(false);
  const missing = !optional && !text.trim();
  const submit = (e: Event) => { e.preventDefault(); setTried(true); if (!missing && !busy) onDo(text.trim()); };
  return (
    <form class="stack tight" onSubmit={submit}>
      {children}
      <Field id={id} label={label} value={text} onInput={setText} {...(hint ? { hint } : {})} wrong={tried && missing ? t("desk.reason_missing") : undefined} />
      <div class="row">
        <button type="submit" class={warn ? "button warn" : "button primary"} aria-disabled={busy}>{busy ? t("desk.doing") : action}</button>
        {onClose && <button type="button" class="button" onClick={onClose}>{t("desk.leave")}</button>}
      </div>
    </form>
  );
}

/** Select picks one of many. */
export function Select({ id, label, value, options, onPick }: { id: string; label: string; value: string; options: readonly (readonly [string, string])[]; onPick: (value: string) => void }) {
  return (
    <div class="field">
      <label for={id}>{label}</label>
      <select id={id} value={value} onChange={(e) => onPick(e.currentTarget.value)}>{options.map(([v, text]) => <option value={v} selected={v === value}>{text}</option>)}</select>
    </div>
  );
}

/** DayField asks for a day. */
export function DayField({ id, label, value, onPick }: { id: string; label: string; value: Day; onPick: (day: Day) => void }) {
  const pick = (text: string) => { const [year, month, day] = text.split("-").map(Number); if (year && month && day) onPick({ year, month, day }); };
  return <div class="field"><label for={id}>{label}</label><input id={id} type="date" value={dayInput(value)} onInput={(e) => pick(e.currentTarget.value)} /></div>;
}

/** dayInput is a day as a date input has it. */
export const dayInput = (d: Day) => [String(d.year ?? 0).padStart(4, "0"), String(d.month ?? 0).padStart(2, "0"), String(d.day ?? 0).padStart(2, "0")].join("-");

/** shift is the day that is so many days later. */
export function shift(d: Day, days: number): Day {
  const at = new Date(Date.UTC(d.year ?? 0, (d.month ?? 1) - 1, (d.day ?? 1) + days));
  return { year: at.getUTCFullYear(), month: at.getUTCMonth() + 1, day: at.getUTCDate() };
}

/** span is a sum in words: one figure, or from and to where something is in doubt. */
export function span(s: DoseSpan | undefined): string {
  if (!s) return t("desk.not_known");
  const least = quantityText(s.least_units ?? "0", "units"), most = quantityText(s.most_units ?? s.least_units ?? "0", "units");
  return least === most ? least : t("desk.from_to", { least, most });
}

/** Names are what clinics and staff are called, as this tablet knows them. */
export interface Names {
  readonly clinics: readonly (readonly [string, string])[];
  readonly clinic: (id: string | undefined) => string;
  readonly staff: (id: string | undefined) => string;
}

/** useNames reads them. */
export function useNames(core: Core): Names {
  const clinics = useRead(core, () => core.list({ kind: "RECORD_KIND_CLINIC" }), []).value ?? [];
  const staff = useRead(core, () => core.list({ kind: "RECORD_KIND_STAFF" }), []).value ?? [];
  const of = (id: string | undefined, map: ReadonlyMap<string, string>) => (id ? (map.get(id) ?? t("desk.unnamed")) : "");
  const c = new Map(clinics.map((v) => [v.record?.clinic?.id ?? "", v.record?.clinic?.name ?? t("desk.unnamed")]));
  const s = new Map(staff.map((v) => [v.record?.staff?.id ?? "", v.record?.staff?.name?.full ?? t("desk.unnamed")]));
  return { clinics: [...c].sort((a, b) => a[1].localeCompare(b[1])), clinic: (id) => of(id, c), staff: (id) => of(id, s) };
}

/** useRoles are the roles of whoever works, as her record on this tablet has them now: on a new tablet it comes with the first exchange. */
export function useRoles(core: Core): readonly Role[] {
  const id = core.person.value.staff_id;
  const view = useRead(core, () => core.view({ kind: "RECORD_KIND_STAFF", record_id: id }), [id]).value;
  return (view?.record?.staff?.positions ?? []).flatMap((p) => (p.ended ? [] : (p.assignment?.roles ?? [])));
}

/** PatientName is what a patient is called, as this tablet knows her. */
export function PatientName({ core, id }: { core: Core; id: string | undefined }) {
  const line = useRead(core, async () => (id ? core.patient(id) : null), [id]).value;
  return <>{line?.name?.full ?? t("patient.unknown")}</>;
}
