// What needs a person: two values of one field, edits that came after a signature, and edits that the server did not take. Nothing here is ever thrown away.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { Conflict, HeldRecordEdit, RecordKey, RecordView, Sibling } from "../messages";
import { dayText, momentText, t, word } from "../i18n";
import { useRead } from "../use";
import { Caution, Frame } from "./Frame";
import { mainRail } from "./Day";
import { go } from "./route";
import { Quantity } from "../ui/Quantity";
import { doseOf, fieldName, valueText } from "./value";
import { attempt } from "./visit/useVisit";
import { Faults } from "./visit/Visit";

/** Conflicts is the screen. */
export function Conflicts({ core }: { core: Core }) {
  const conflicts = useRead(core, () => core.conflicts({}), []).value ?? [];
  const held = useRead(core, () => core.held({}), []).value ?? [];
  const late = useRead(core, async () => (await core.sessions({ most: 200 })).filter((v) => (v.late_entries ?? []).length > 0), []).value ?? [];
  const recovered = useRead(core, () => core.recovered(), []).value ?? [];
  const none = conflicts.length + held.length + late.length + recovered.length === 0;
  return (
    <Frame core={core} rail={mainRail("conflicts")} title={t("conflicts.title")} head={<strong>{core.device.value.label}</strong>}>
      <Faults />
      {none && <p class="message large">{t("conflicts.none")}</p>}
      {conflicts.map((c) => <ConflictCard key={`${c.key?.record_id}${c.path}`} core={core} conflict={c} />)}
      {late.map((v) => <Late core={core} view={v} />)}
      {held.map((h) => <Held core={core} held={h} />)}
      {recovered.map((r) => (
        <section class="card stack tight">
          <h2>{t("recovered.title", { field: fieldName(r.path) })}</h2>
          <p class="large strong">{r.cleared ? t("conflict.cleared") : valueText(r.value_json)}</p>
          <p class="soft">{t("conflict.by", { name: r.staff_name, tablet: "", time: momentText(r.authored_at_unix_ms) })}</p>
          <div class="row"><button type="button" class="button chart primary" onClick={() => attempt(() => core.take(r.ref))}>{t("recovered.take")}</button><button type="button" class="button chart" onClick={() => attempt(() => core.dismiss(r.ref))}>{t("recovered.leave")}</button></div>
        </section>
      ))}
      <Caution />
    </Frame>
  );
}

/** useAbout names a record: whose it is, and what. */
function useAbout(core: Core, key: RecordKey | undefined): string {
  const read = useRead(core, async () => {
    if (!key?.record_id) return "";
    const view = await core.view(key);
    const r = view?.record, id = r?.patient?.id ?? r?.session?.patient_id ?? r?.order?.patient_id ?? r?.appointment?.patient_id;
    const patient = id ? await core.patient(id) : null;
    return [patient?.name?.full, r?.session?.on && dayText(r.session.on), r?.vial && t("vial.number", { number: r.vial.short_number ?? "" })].filter(Boolean).join(", ");
  }, [key?.record_id]);
  return `${word("record", key?.kind)}${read.value ? `: ${read.value}` : ""}`;
}

function ConflictCard({ core, conflict: c }: { core: Core; conflict: Conflict }) {
  const about = useAbout(core, c.key);
  const [kept, setKept] = useState(false);
  const settle = async (s: Sibling) => {
    const dot = s.authors?.[0]?.dot;
    if (await attempt(() => core.settle({ ...(c.key ? { key: c.key } : {}), path: c.path ?? "", context: c.context ?? "", reason: t("conflict.reason"), ...(dot ? { keep: dot } : {}) }))) setKept(true);
  };
  if (kept) return null;
  return (
    <section class="card stack tight" aria-label={fieldName(c.path ?? "")}>
      <h2>{fieldName(c.path ?? "")}</h2>
      <p class="soft">{about}</p>
      <p>{t("conflict.how")}</p>
      <div class="two">{(c.siblings ?? []).map((s) => (
        <div class="card marked stack tight">
          <Value sibling={s} />
          <ul class="soft">{(s.authors ?? []).map((a) => <li>{t("conflict.by", { name: a.staff_name ?? "", tablet: a.device_label ?? "", time: momentText(a.authored_at) })}</li>)}</ul>
          <button type="button" class="button primary great" onClick={() => settle(s)}>{t("conflict.choose")}</button>
        </div>
      ))}</div>
      <p class="soft small">{t("conflict.kept")}</p>
    </section>
  );
}

/** Value is one of the values, as large as what is at stake. */
function Value({ sibling: s }: { sibling: Sibling }) {
  const dose = doseOf(s.value_json ?? "");
  if (s.cleared) return <p class="large strong">{t("conflict.cleared")}</p>;
  return dose ? <p><span class="product" style={{ display: "block" }}>{dose.product}</span><Quantity value={dose.units} unit="units" size="great" /></p> : <p class="large strong">{valueText(s.value_json ?? "")}</p>;
}

function Late({ core, view }: { core: Core; view: RecordView }) {
  const about = useAbout(core, { kind: "RECORD_KIND_SESSION", record_id: view.record?.session?.id ?? "" });
  return (
    <section class="card stack tight">
      <h2>{t("late.title", { n: (view.late_entries ?? []).length })}</h2>
      <p class="soft">{about}</p>
      <ul>{(view.late_entries ?? []).map((l) => <li>{(l.writes ?? []).map((w) => `${fieldName(w.path ?? "")}: ${w.cleared ? t("conflict.cleared") : valueText(w.value_json ?? "")}`).join("; ")} <span class="soft">{t("conflict.by", { name: l.authorship?.staff_name ?? "", tablet: l.authorship?.device_label ?? "", time: momentText(l.authorship?.authored_at) })}</span></li>)}</ul>
      <button type="button" class="button chart" onClick={() => go({ screen: "visit", id: view.record?.session?.id ?? "", step: "finish" })}>{t("late.open")}</button>
    </section>
  );
}

function Held({ core, held: h }: { core: Core; held: HeldRecordEdit }) {
  const about = useAbout(core, h.key);
  return (
    <section class="card stack tight">
      <h2>{"\u25b2"} {t("held.title")}</h2>
      <p class="soft">{about}</p>
      <p class="strong">{h.detail}</p>
      <ul>{(h.writes ?? []).map((w) => <li>{fieldName(w.path ?? "")}: <span class="strong">{w.cleared ? t("conflict.cleared") : valueText(w.value_json ?? "")}</span></li>)}</ul>
      <p class="soft">{t("conflict.by", { name: h.authorship?.staff_name ?? "", tablet: h.authorship?.device_label ?? "", time: momentText(h.authorship?.authored_at) })}</p>
      <p>{t(h.partial ? "held.partial" : "held.do")} {word("reason", h.reason)}</p>
    </section>
  );
}
