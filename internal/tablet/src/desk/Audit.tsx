// The audit list: who did what to whose record, newest first as the server gives it.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { AuditEntry, Date as Day, ListAuditResponse } from "../messages";
import { momentText, t, word } from "../i18n";
import { today } from "../screens/today";
import { useRead } from "../use";
import { usePages } from "./call";
import { DayField, More, PatientName, Select, shift, State, Table, useNames } from "./parts";

/** Audit is the screen. */
export function Audit({ core }: { core: Core }) {
  const names = useNames(core);
  const [from, setFrom] = useState(today());
  const [until, setUntil] = useState(today());
  const [staff, setStaff] = useState("");
  const people = useRead(core, () => core.list({ kind: "RECORD_KIND_STAFF" }), []).value ?? [];
  const request = { from: midnight(from), until: midnight(shift(until, 1)), page_size: 100, ...(staff ? { staff_id: staff } : {}) };
  const asked = usePages<ListAuditResponse, AuditEntry>(core, "access/ListAudit", request, (a) => a.entries, [request.from, request.until, staff]);
  const options = people.map((v) => [v.record?.staff?.id ?? "", v.record?.staff?.name?.full ?? ""] as const).sort((a, b) => a[1].localeCompare(b[1]));
  return (
    <>
      <div class="two"><DayField id="audit-from" label={t("figures.from")} value={from} onPick={setFrom} /><DayField id="audit-until" label={t("figures.until")} value={until} onPick={setUntil} /></div>
      <Select id="audit-staff" label={t("desk.who")} value={staff} options={[["", t("audit.anybody")], ...options]} onPick={setStaff} />
      <State asked={asked} />
      {asked.value && <Table caption={word("desk", "audit")} empty={t("audit.none")} heads={[t("desk.when"), t("desk.who"), t("desk.what"), t("audit.whose"), t("audit.outcome")]} rows={asked.rows.map((e) => [
        momentText(e.at), <>{names.staff(e.staff_id) || t("audit.nobody")}<br /><span class="soft small">{e.role ? word("rolename", e.role) : ""}</span></>,
        <>{procedure(e.procedure)}{e.kind && e.kind !== "RECORD_KIND_UNSPECIFIED" ? `, ${word("record", e.kind)}` : ""}{e.relation ? <><br /><span class="soft small">{word("relation", e.relation)}</span></> : null}</>,
        e.patient_id ? <PatientName core={core} id={e.patient_id} /> : "", <>{word("outcome", e.outcome)}{e.remark ? <><br /><span class="soft small">{e.remark}</span></> : null}</>,
      ])} />}
      <More more={asked.more} busy={asked.busy} />
    </>
  );
}

/** midnight is when a day begins by this tablet's calendar. */
const midnight = (d: Day) => new Date(d.year ?? 0, (d.month ?? 1) - 1, d.day ?? 1).toISOString();

/** procedure is the last part of a procedure's name in words: "GetPatient" is "get patient". */
const procedure = (name: string | undefined) => (name ?? "").split("/").at(-1)!.replace(/([a-z])([A-Z])/g, "$1 $2").toLowerCase();
