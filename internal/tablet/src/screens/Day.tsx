// The day: who comes, who is there, what is due, which vials are open, and what of the work is not on the server yet.

import { useState } from "preact/hooks";
import type { Core, DayLine, PatientLine } from "../core";
import type { RecordView, Session } from "../messages";
import { dayText, momentText, t, timeText, word } from "../i18n";
import { useRead } from "../use";
import { Field } from "../ui/Field";
import { mlOf, quantityText, unitsOf } from "../ui/decimal";
import { Caution, Frame, type RailItem } from "./Frame";
import { NewPatient } from "./NewPatient";
import { go, hand } from "./route";
import { startVisit } from "./start";
import { today } from "./today";
import { givings, live, preparation } from "./visit/record";
import { Faults } from "./visit/Visit";

/** mainRail is the rail outside a visit. */
export function mainRail(current: string): RailItem[] {
  const item = (screen: "day" | "calculator" | "conflicts" | "day_end" | "desk"): RailItem => ({ label: word("screen", screen), current: current === screen, onGo: () => go({ screen }) });
  return [item("day"), item("calculator"), item("conflicts"), item("day_end"), item("desk"),
    { label: t("hand.title"), state: t(hand.value === "right" ? "hand.right" : "hand.left"), current: false, onGo: () => { hand.value = hand.value === "right" ? "left" : "right"; } }];
}

/** Day is the screen. */
export function Day({ core }: { core: Core }) {
  const on = today();
  const [text, setText] = useState("");
  const [adding, setAdding] = useState(false);
  const lines = useRead(core, () => core.day({ on }), [on.year, on.month, on.day]).value ?? [];
  const found = useRead(core, async () => (text.trim().length > 1 ? core.patients({ text: text.trim(), most: 12 }) : null), [text]).value;
  return (
    <Frame core={core} rail={mainRail("day")} title={t("day.title", { day: dayText(on) })} head={<><strong>{core.device.value.organisation_name}</strong><span class="soft">{t("day.person", { name: core.person.value.name, tablet: core.device.value.label })}</span></>}
      deck={<><button type="button" class="button" onClick={() => core.lock()}>{t("day.lock")}</button><button type="button" class="button primary" aria-expanded={adding} onClick={() => setAdding(!adding)}>{t("day.add")}</button></>}>
      <Faults />
      {adding && <NewPatient core={core} onClose={() => setAdding(false)} />}
      <Field id="find" label={t("day.find")} value={text} onInput={setText} hint={t("day.find_hint")} inputMode="search" />
      {found && <section class="stack tight" aria-label={t("day.found")}><h2>{t("day.found_n", { n: found.length })}</h2><div class="rows">{found.map((p) => <PatientButton core={core} line={p} />)}</div></section>}
      <section class="stack tight" aria-label={t("day.list")}>
        <h2>{t("day.list")}</h2>
        {lines.length === 0 && <p>{t("day.empty")}</p>}
        <ol class="rows">{lines.map((l) => <li><DayButton core={core} line={l} /></li>)}</ol>
      </section>
      <div class="two">
        <Reviews core={core} />
        <Vials core={core} />
      </div>
      <Unsigned core={core} />
      <Caution />
    </Frame>
  );
}

/** Alerts are the patient's alerts, in words. */
export function Alerts({ line }: { line: PatientLine }) {
  return <>{(line.alerts ?? []).map((a) => <span class="tag caution"><span aria-hidden="true">{"\u25b2"}</span> {word("alert", a.kind)}</span>)}</>;
}

function DayButton({ core, line }: { core: Core; line: DayLine }) {
  const a = line.appointment?.record?.appointment, s = line.session?.record?.session;
  const open = () => {
    if (s?.id) return go({ screen: "visit", id: s.id, step: s.kind === "SESSION_KIND_REVIEW" ? "review" : "screening" });
    void startVisit(core, { patient_id: line.patient.patient_id ?? "", kind: a?.purpose === "review" ? "SESSION_KIND_REVIEW" : "SESSION_KIND_TREATMENT", ...(a?.id ? { appointment_id: a.id } : {}), ...(a?.parent_session_id ? { parent: a.parent_session_id } : {}) });
  };
  const moved = [...(a?.moves ?? [])].at(-1)?.step?.state;
  return (
    <button type="button" class="line" onClick={open}>
      <span>
        <span class="name">{a?.slot?.begins_at ? `${timeText(a.slot.begins_at)} ` : ""}{line.patient.name?.full ?? a?.booked_name ?? t("patient.unknown")}</span>
        <span class="row"><span class="soft">{t("patient.born", { day: dayText(line.patient.birth?.date) })}</span><Alerts line={line.patient} />{line.patient.whole === false && <span class="tag">{t("patient.thin")}</span>}</span>
      </span>
      <span class="soft">{word("purpose", a?.purpose)}{moved ? `, ${word("appointment", moved)}` : ""}{s ? `, ${progress(s)}` : ""}</span>
    </button>
  );
}

/** progress is how far a visit is. */
function progress(s: Session): string {
  if ((s.signatures ?? []).length) return `\u2713 ${t("state.signed")}`;
  const all = live(s), given = all.filter((i) => givings(i).length).length;
  return given ? t("state.of", { given, all: all.length }) : t("day.open");
}

function PatientButton({ core, line }: { core: Core; line: PatientLine }) {
  const last = line.last_treatments?.[0];
  return (
    <button type="button" class="line" onClick={() => { if (line.whole === false) void core.hold(line.patient_id ?? ""); go({ screen: "patient", id: line.patient_id ?? "" }); }}>
      <span><span class="name">{line.name?.full}</span><span class="row"><span class="soft">{t("patient.born", { day: dayText(line.birth?.date) })}</span><Alerts line={line} /></span></span>
      <span class="soft">{last ? t("patient.last", { product: last.product ?? "", day: dayText(last.on) }) : t("patient.no_last")}{line.whole === false ? ` ${t("patient.thin")}` : ""}</span>
    </button>
  );
}

/** mostReviews are how many reviews the day shows; the longest due come first. */
const mostReviews = 6;

function Reviews({ core }: { core: Core }) {
  const now = today();
  const number = (d: { year?: number; month?: number; day?: number } | undefined) => (d?.year ?? 0) * 400 + (d?.month ?? 0) * 32 + (d?.day ?? 0);
  const due = useRead(core, async () => {
    const views = await core.sessions({ most: 200 });
    const all = views.map((v) => v.record?.session).filter((s): s is Session => Boolean(s && !s.void));
    const reviewed = new Set(all.filter((s) => s.kind === "SESSION_KIND_REVIEW" && (s.signatures ?? []).length).map((s) => s.parent?.session_id));
    const open = all.filter((s) => s.review && number(s.review.from) <= number(now) && !reviewed.has(s.id)).sort((a, b) => number(a.review?.until) - number(b.review?.until));
    return Promise.all(open.map(async (session) => ({ session, patient: session.patient_id ? await core.patient(session.patient_id) : null })));
  }, []).value ?? [];
  return (
    <section class="stack tight" aria-label={t("day.reviews")}>
      <h2>{t("day.reviews")}</h2>
      {due.length === 0 && <p class="soft">{t("day.no_reviews")}</p>}
      <div class="rows">{due.slice(0, mostReviews).map(({ session, patient }) => (
        <button type="button" class="line" onClick={() => go({ screen: "patient", id: session.patient_id ?? "" })}>
          <span class="strong">{patient?.name?.full ?? t("patient.unknown")}</span><span class="soft">{t("day.review_until", { day: dayText(session.review?.until) })}</span>
        </button>
      ))}</div>
      {due.length > mostReviews && <p class="soft">{t("day.more_reviews", { n: due.length - mostReviews })}</p>}
    </section>
  );
}

function Vials({ core }: { core: Core }) {
  const views = useRead(core, () => core.list({ kind: "RECORD_KIND_VIAL", clinic_id: core.device.value.clinic_id }), []).value ?? [];
  const open = views.map((v: RecordView) => v.record?.vial).filter((v) => v && !v.void && !v.discarded && preparation(v));
  return (
    <section class="stack tight" aria-label={t("day.vials")}>
      <h2>{t("day.vials")}</h2>
      {open.length === 0 && <p class="soft">{t("day.no_vials")}</p>}
      <ul class="rows">{open.map((v) => {
        const p = preparation(v!)!;
        return (
          <li class="card">
            <p class="strong">{v!.short_number ? t("vial.number", { number: v!.short_number }) : t("vial.unnumbered")}, <span class="product">{v!.presentation?.product}</span></p>
            <p class="soft">{t("day.vial_mixed", { units: quantityText(unitsOf(v!.presentation?.content_milliunits), "units"), volume: quantityText(mlOf(p.diluent?.volume_nanoliters), "mL") })}</p>
            <p>{p.use_by?.until ? t("strength.use_by", { time: momentText(p.use_by.until) }) : t("strength.no_use_by")}</p>
          </li>
        );
      })}</ul>
    </section>
  );
}

function Unsigned({ core }: { core: Core }) {
  const open = useRead(core, async () => {
    const views = await core.sessions({ unsigned_only: true, responsible_id: core.person.value.staff_id, most: 50 });
    const mine = views.map((v) => v.record?.session).filter((s): s is Session => Boolean(s && !s.void && live(s).some((i) => givings(i).length)));
    return Promise.all(mine.map(async (session) => ({ session, patient: session.patient_id ? await core.patient(session.patient_id) : null })));
  }, []).value ?? [];
  if (open.length === 0) return null;
  return (
    <section class="stack tight" aria-label={t("day.unsigned")}>
      <h2>{t("day.unsigned")}</h2>
      <div class="rows">{open.map(({ session, patient }) => (
        <button type="button" class="line" onClick={() => go({ screen: "visit", id: session.id!, step: "finish" })}><span class="strong">{patient?.name?.full}</span><span class="soft">{dayText(session.on)}</span></button>
      ))}</div>
    </section>
  );
}
