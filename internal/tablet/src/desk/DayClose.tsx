// The close of a clinic's day: what is open, what each vial's account comes to, who closed it and what came after.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { CloseDayResponse, GetDayCloseResponse, ReopenDayResponse, SilentDevice, VialBalance } from "../messages";
import { dayText, momentText, t, word } from "../i18n";
import { quantityText } from "../ui/decimal";
import { go } from "../screens/route";
import { today } from "../screens/today";
import { fieldName } from "../screens/value";
import { useRead } from "../use";
import { useAsked, useDoing } from "./call";
import { DayField, PatientName, Reason, Select, span, State, Table, Trouble, useNames, type Names } from "./parts";

/** DayClose is the screen. */
export function DayClose({ core }: { core: Core }) {
  const names = useNames(core);
  const [clinic, setClinic] = useState(core.device.value.clinic_id);
  const [day, setDay] = useState(today());
  const asked = useAsked<GetDayCloseResponse>(core, "trace/GetDayClose", { clinic_id: clinic, day }, [clinic, day.year, day.month, day.day]);
  const clinics = names.clinics.some(([id]) => id === clinic) ? names.clinics : [[clinic, core.device.value.clinic_id ? t("desk.this_clinic") : ""] as const, ...names.clinics];
  return (
    <>
      <div class="two"><Select id="close-clinic" label={t("desk.clinic")} value={clinic} options={clinics} onPick={setClinic} /><DayField id="close-day" label={t("desk.day")} value={day} onPick={setDay} /></div>
      <State asked={asked} />
      {asked.value && <Report core={core} names={names} answer={asked.value} clinic={clinic} again={asked.again} />}
    </>
  );
}

interface ReportProps {
  readonly core: Core;
  readonly names: Names;
  readonly answer: GetDayCloseResponse;
  readonly clinic: string;
  readonly again: () => void;
}

function Report({ core, names, answer: a, clinic, again }: ReportProps) {
  const r = a.report ?? {};
  return (
    <>
      <Standing core={core} answer={a} clinic={clinic} again={again} />
      <section class="stack tight"><h2>{t("close.visits")}</h2>
        <p>{t("close.signed", { signed: r.signed_sessions ?? 0, all: r.sessions ?? 0 })}</p>
        <div class="rows">{(r.unsigned ?? []).map((s) => (
          <button type="button" class="line" onClick={() => go({ screen: "visit", id: s.session_id ?? "", step: "finish" })}>
            <span><span class="strong"><PatientName core={core} id={s.patient_id} /></span> <span class="soft">{names.staff(s.responsible_id)}</span></span>
            <span>{"\u25b2"} {s.late_entries ? t("close.late_n", { n: s.late_entries }) : t("patient.unsigned")}</span>
          </button>
        ))}</div>
      </section>
      <Vials core={core} vials={r.vials ?? []} />
      {(r.late_entries ?? []).length > 0 && <section class="stack tight"><h2>{t("close.late")}</h2>
        <Table caption={t("close.late")} heads={[t("desk.what"), t("desk.who"), t("desk.when"), t("desk.tablet")]} empty=""
          rows={(r.late_entries ?? []).map((l) => [`${word("record", l.key?.kind)}: ${(l.paths ?? []).map(fieldName).join(", ")}`, l.author_name, momentText(l.authored_at), l.device_label])} /></section>}
      <Tablets title={t("close.unsynced")} empty={t("close.unsynced_none")} devices={r.unsynced_devices ?? []} />
      <Tablets title={t("close.silent")} empty={t("close.silent_none")} devices={r.silent_devices ?? []} />
      <section class="stack tight"><h2>{t("close.other")}</h2>
        <dl class="pairs">
          <dt>{t("close.conflicts")}</dt><dd>{(r.conflicts ?? []).length}</dd>
          <dt>{t("close.held")}</dt><dd>{r.held_edits ?? 0}</dd>
          <dt>{t("close.reviews")}</dt><dd>{r.reviews_due ?? 0}</dd>
        </dl>
        {(r.findings ?? []).length > 0 && <><h3>{t("close.findings")}</h3><ul class="bullets">{(r.findings ?? []).map((f) => <li>{f.text}</li>)}</ul></>}
        {(r.lifted_holds ?? []).length > 0 && <><h3>{t("close.lifted")}</h3><ul class="bullets">{(r.lifted_holds ?? []).map((l) => <li>{l.decision?.text} <span class="soft">{l.decided_by_name}: {l.decision?.reason}</span></li>)}</ul></>}
      </section>
    </>
  );
}

/** Standing says whether the day is closed and lets a person close it or take that back; she closes what she sees, by its digest. */
function Standing({ core, answer: a, clinic, again }: Omit<ReportProps, "names">) {
  const doing = useDoing(core);
  const [asking, setAsking] = useState(false);
  const day = a.report?.day, open = a.open_items ?? 0;
  const done = (ok: unknown) => { if (ok) { setAsking(false); again(); } };
  const close = async (remark: string) => done(await doing.run<CloseDayResponse>("trace/CloseDay", { clinic_id: clinic, day, report_digest: a.report_digest, ...(remark ? { remark } : {}) }));
  const reopen = async (reason: string) => done(await doing.run<ReopenDayResponse>("trace/ReopenDay", { clinic_id: clinic, day, closing_id: a.closing?.id, reason }));
  return (
    <section class={a.closed ? "message stack tight" : open > 0 ? "message caution stack tight" : "message stack tight"}>
      <p class="ending">{a.closed ? t("close.closed", { day: dayText(day), name: a.closed_by_name ?? "" }) : t("close.open", { day: dayText(day) })}</p>
      {a.closed && <p>{t("close.closed_at", { time: momentText(a.closing?.seen?.closed?.at) })}{a.closing?.seen?.remark ? ` ${t("close.remark_was", { text: a.closing.seen.remark })}` : ""}</p>}
      <p>{open === 0 ? t("close.items_none") : t("close.items", { n: open })} <span class="soft">{t("desk.as_of", { time: momentText(a.as_of) })}</span></p>
      {(a.report?.late_entries ?? []).length > 0 && <p class="strong">{t("close.came_late", { n: (a.report?.late_entries ?? []).length })}</p>}
      <Trouble trouble={doing.trouble} />
      {!asking && <div class="row"><button type="button" class={a.closed ? "button" : "button primary"} onClick={() => setAsking(true)}>{t(a.closed ? "close.reopen" : "close.close")}</button><button type="button" class="button" onClick={again}>{t("desk.refresh")}</button></div>}
      {asking && (a.closed
        ? <Reason key="reopen" id="reopen-reason" label={t("close.why_reopen")} action={t("close.reopen")} warn busy={doing.busy} onDo={reopen} onClose={() => setAsking(false)} />
        : <Reason key="close" id="close-remark" label={t(open > 0 ? "close.remark_open" : "close.remark")} hint={t("close.names_you", { name: core.person.value.name })} optional={open === 0} action={t("close.close_as", { name: core.person.value.name })} busy={doing.busy} onDo={close} onClose={() => setAsking(false)} />)}
    </section>
  );
}

function Vials({ core, vials }: { core: Core; vials: readonly VialBalance[] }) {
  const numbers = useRead(core, async () => new Map((await Promise.all(vials.map((v) => core.view({ kind: "RECORD_KIND_VIAL", record_id: v.vial_id ?? "" })))).map((v) => [v?.record?.vial?.id, v?.record?.vial?.short_number])), [vials.map((v) => v.vial_id).join()]).value;
  return (
    <section class="stack tight"><h2>{t("close.vials")}</h2>
      <Table caption={t("close.vials")} heads={[t("close.vial"), t("close.content"), t("close.given"), t("close.wasted"), t("close.left"), t("close.account")]} empty={t("close.vials_none")}
        rows={vials.map((v) => [<>{t("vial.number", { number: numbers?.get(v.vial_id) ?? "?" })}<br /><span class="soft small">{v.product}, {t("lot.lot", { number: v.lot_number ?? "" })}</span></>,
          v.content_units ? quantityText(v.content_units, "units") : t("desk.not_known"), span(v.given), v.waste_unknown ? t("close.waste_unknown") : span(v.wasted),
          <>{span(v.left)}{v.counted_ml !== undefined && <><br /><span class="soft">{t("close.counted", { volume: quantityText(v.counted_ml, "mL") })}</span></>}</>, account(v)])} />
    </section>
  );
}

function account(v: VialBalance) {
  if (v.overdrawn) return <span class="tag hold">{t("close.overdrawn")}</span>;
  const lost = v.unaccounted;
  if (lost && Number(lost.most_units ?? 0) > 0) return <span class="tag caution">{"\u25b2"} {t("close.unaccounted", { span: span(lost) })}</span>;
  return <>{"\u2713"} {t("close.balanced")}</>;
}

/** Tablets lists devices that may hold what the server does not know, and whom to ring. */
export function Tablets({ title, empty, devices }: { title: string; empty: string; devices: readonly SilentDevice[] }) {
  return (
    <section class="stack tight"><h2>{title}</h2>
      <Table caption={title} heads={[t("desk.tablet"), t("tablets.last"), t("tablets.unsent"), t("tablets.ring")]} empty={empty}
        rows={devices.map((d) => [d.label, d.last_exchange_at ? momentText(d.last_exchange_at) : t("tablets.never"), d.unsent_edits && d.unsent_edits !== "0" ? d.unsent_edits : t("desk.not_known"),
          [d.custodian_name, d.custodian_phone, d.clinic_phone].filter(Boolean).join(", ") || t("desk.not_known")])} />
    </section>
  );
}
