// Orders: who may be given what, on whose word, and until when. Those that run out first lead; they are written in the patient's own record.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { ListRecordsResponse, Order, RecordView } from "../messages";
import { dayText, momentText, t, word } from "../i18n";
import { quantityText, unitsOf } from "../ui/decimal";
import { go } from "../screens/route";
import { today } from "../screens/today";
import { usePages } from "./call";
import { dayInput, More, PatientName, Select, State, Table, useNames } from "./parts";

/** Orders is the screen. */
export function Orders({ core }: { core: Core }) {
  const names = useNames(core);
  const [clinic, setClinic] = useState(core.device.value.clinic_id);
  const [past, setPast] = useState(false);
  const asked = usePages<ListRecordsResponse, RecordView>(core, "chart/ListRecords", { kind: "RECORD_KIND_ORDER", page_size: 200, ...(clinic ? { clinic_id: clinic } : {}) }, (a) => a.views, [clinic]);
  const on = dayInput(today());
  const all = asked.rows.map((v) => v.record?.order).filter((o): o is Order => Boolean(o));
  const runs = (o: Order) => !o.withdrawn && (!o.validity?.until || dayInput(o.validity.until) >= on);
  const shown = all.filter((o) => past || runs(o)).sort((a, b) => ends(a).localeCompare(ends(b)));
  return (
    <>
      <Select id="orders-clinic" label={t("desk.clinic")} value={clinic} options={[["", t("desk.all_clinics")], ...names.clinics]} onPick={setClinic} />
      <div><button type="button" class="button" aria-pressed={past} onClick={() => setPast(!past)}>{t("orders.past")}</button></div>
      <State asked={asked} />
      {asked.value && <Table caption={word("desk", "orders")} empty={t("orders.none")} heads={[t("desk.patient"), t("orders.kind"), t("orders.lines"), t("orders.valid"), t("orders.state")]} rows={shown.map((o) => [
        o.patient_id ? <button type="button" class="button quiet" style={{ textAlign: "start", paddingInline: 0 }} onClick={() => go({ screen: "patient", id: o.patient_id! })}><PatientName core={core} id={o.patient_id} /></button> : t("orders.standing"),
        <>{word("orderkind", o.kind)}<br /><span class="soft small">{names.staff(o.prescriber_id)}</span></>,
        <ul>{(o.lines ?? []).filter((l) => !l.withdrawn).map((l) => <li>{line(l.leave)}</li>)}</ul>,
        `${dayText(o.validity?.from)} \u2013 ${dayText(o.validity?.until)}`,
        o.withdrawn ? t("orders.withdrawn", { reason: o.withdrawn.reason ?? "" }) : !o.issued ? t("orders.draft") : runs(o) ? `\u2713 ${t("orders.issued", { time: momentText(o.issued.issued?.at) })}` : t("orders.expired"),
      ])} />}
      <More more={asked.more} busy={asked.busy} />
    </>
  );
}

const ends = (o: Order) => (o.validity?.until ? dayInput(o.validity.until) : "9999");

function line(leave: NonNullable<Order["lines"]>[number]["leave"]): string {
  const most = leave?.most_milliunits ? t("orders.most", { units: quantityText(unitsOf(leave.most_milliunits), "units") }) : "";
  return [leave?.product, (leave?.regions ?? []).map((r) => word("region", r)).join(", "), most].filter(Boolean).join(", ");
}
