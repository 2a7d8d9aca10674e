// Where a lot went and who had it; its recall, and the list of those to call.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { Exposure, LiftRecallResponse, Lot, RecallLotResponse, TracedVial, TraceLotResponse } from "../messages";
import { dayText, momentText, t, word } from "../i18n";
import { Field } from "../ui/Field";
import { quantityText } from "../ui/decimal";
import { today } from "../screens/today";
import { useRead } from "../use";
import { useDoing, usePages } from "./call";
import { Calls } from "./Calls";
import { Tablets } from "./DayClose";
import { DayField, More, Reason, span, State, Table, Trouble, useNames } from "./parts";

/** Which lot is traced: one with a record here, or what is printed on a pack. */
type Which = { lot_id: string } | { label: { number: string } };

/** Lots is the screen. */
export function Lots({ core }: { core: Core }) {
  const [text, setText] = useState("");
  const [which, setWhich] = useState<Which | null>(null);
  const [tried, setTried] = useState(false);
  const known = useRead(core, () => core.list({ kind: "RECORD_KIND_LOT" }), []).value ?? [];
  const lots = known.map((v) => v.record?.lot).filter((l): l is Lot => Boolean(l?.id));
  const recalled = lots.filter((l) => standing(l));
  const find = (e: Event) => { e.preventDefault(); setTried(true); const number = text.trim(); if (number) setWhich({ label: { number } }); };
  return (
    <>
      <form class="stack tight" onSubmit={find}>
        <Field id="lot-number" label={t("lot.number")} hint={t("lot.number_hint")} value={text} onInput={setText} wrong={tried && !text.trim() ? t("lot.number_missing") : undefined} />
        <div><button type="submit" class="button primary">{t("lot.trace")}</button></div>
      </form>
      {recalled.length > 0 && <section class="stack tight"><h2>{t("lot.recalled_now")}</h2>
        <div class="rows">{recalled.map((l) => <button type="button" class="line" onClick={() => setWhich({ lot_id: l.id! })}><span class="strong">{t("lot.lot", { number: l.identity?.number ?? "" })}</span><span class="soft">{l.identity?.product ?? word("diluent", l.identity?.diluent)}</span></button>)}</div></section>}
      {which && <Trace key={JSON.stringify(which)} core={core} which={which} />}
    </>
  );
}

/** standing is the recall of a lot that nobody lifted. */
const standing = (lot: Lot | undefined) => (lot?.recalls ?? []).find((r) => r.notice && !r.lifted);

function Trace({ core, which }: { core: Core; which: Which }) {
  const asked = usePages<TraceLotResponse, Exposure>(core, "trace/TraceLot", { ...which, also_like: true, page_size: 200 }, (a) => a.exposures, [JSON.stringify(which)]);
  const names = useNames(core);
  const a = asked.value;
  const number = a?.lot?.identity?.number ?? ("label" in which ? which.label.number : "");
  return (
    <>
      <State asked={asked} />
      {a && <>
        <section class="message stack tight"><p class="ending">{t("lot.summary", { number, patients: a.patient_count ?? 0, vials: (a.vials ?? []).length })}</p>
          {(a.like_patient_count ?? 0) > 0 && <p class="strong">{t("lot.like", { n: a.like_patient_count ?? 0, numbers: (a.like_numbers ?? []).join(", ") })}</p>}
          <p class="soft">{t("lot.as_of", { time: momentText(a.as_of) })}</p></section>
        <Recalling core={core} lot={a.lot} number={number} vials={a.vials ?? []} again={asked.again} />
        {a.lot?.id && standing(a.lot) && <Calls core={core} lot={a.lot.id} />}
        <section class="stack tight"><h2>{t("lot.patients")}</h2>
          <Table caption={t("lot.patients")} heads={[t("desk.patient"), t("desk.on"), t("desk.clinic"), t("close.given"), t("lot.how")]} empty={t("lot.patients_none")} rows={asked.rows.map((e) => exposure(e, names.clinic(e.clinic_id)))} />
          <More more={asked.more} busy={asked.busy} /></section>
        <section class="stack tight"><h2>{t("lot.vials")}</h2>
          <Table caption={t("lot.vials")} heads={[t("close.vial"), t("desk.clinic"), t("lot.place"), t("close.left"), t("lot.state"), t("close.visits")]} empty={t("lot.vials_none")}
            rows={(a.vials ?? []).map((v) => [t("vial.number", { number: v.short_number || v.serial || "?" }), names.clinic(v.clinic_id), v.place || t("desk.not_known"), v.left_ml !== undefined ? quantityText(v.left_ml, "mL") : v.opened ? t("desk.not_known") : t("lot.unopened"), state(v), v.sessions ?? 0])} /></section>
        <Tablets title={t("close.silent")} empty={t("close.silent_none")} devices={a.silent_devices ?? []} />
      </>}
    </>
  );
}

function exposure(e: Exposure, clinic: string) {
  return [e.name?.full ?? t("patient.unknown"), dayText(e.on), clinic,
    <ul>{(e.givings ?? []).map((g) => <li>{word("muscle", g.muscle)}{g.side ? `, ${word("side", g.side)}` : ""}: {span(g.dose ?? { least_units: g.dose_units ?? "0" })}</li>)}</ul>,
    <>{word("match", e.match)}{e.matched_number ? ` (${e.matched_number})` : ""}{e.through_diluent ? `, ${t("lot.through_diluent")}` : ""}</>];
}

function state(v: TracedVial): string {
  return [v.blocked && t("lot.blocked"), v.discarded ? t("lot.discarded") : v.opened ? t("lot.opened") : t("lot.unopened"), v.number_similar && t("lot.similar", { number: v.number ?? "" })].filter(Boolean).join(", ");
}

/** Recalling says whether a recall stands, and lets it be entered or lifted. */
function Recalling({ core, lot, number, vials, again }: { core: Core; lot: Lot | undefined; number: string; vials: readonly TracedVial[]; again: () => void }) {
  const doing = useDoing(core);
  const [asking, setAsking] = useState(false);
  const [noticed, setNoticed] = useState(today());
  const [reference, setReference] = useState("");
  const now = standing(lot);
  const product = vials.find((v) => v.match !== "LOT_MATCH_LIKE" && v.product && !v.through_diluent)?.product;
  const identity = lot?.identity ?? (product ? { kind: "LOT_KIND_TOXIN", product, number } : undefined);
  const done = (ok: unknown) => { if (ok) { setAsking(false); again(); } };
  const recall = async (reason: string) => done(await doing.run<RecallLotResponse>("trace/RecallLot", { lot: identity, reason, noticed_on: noticed, ...(reference.trim() ? { reference: reference.trim() } : {}) }));
  const lift = async (reason: string) => done(await doing.run<LiftRecallResponse>("trace/LiftRecall", { lot_id: lot?.id, recall_id: now?.id, reason }));
  if (!identity) return <p class="message">{t("lot.not_known")}</p>;
  return (
    <section class={now ? "message hold stack tight" : "card stack tight"}>
      <h2>{now ? t("lot.is_recalled", { day: dayText(now.notice?.noticed_on) }) : t("lot.not_recalled")}</h2>
      {now && <p>{now.notice?.reason} <span class="soft">{now.notice?.reference}</span></p>}
      <Trouble trouble={doing.trouble} />
      {!asking && <div><button type="button" class={now ? "button" : "button warn"} onClick={() => setAsking(true)}>{t(now ? "lot.lift" : "lot.recall")}</button></div>}
      {asking && now && <Reason key="lift" id="lift-reason" label={t("lot.why_lift")} action={t("lot.lift")} warn busy={doing.busy} onDo={lift} onClose={() => setAsking(false)} />}
      {asking && !now && <Reason key="recall" id="recall-reason" label={t("lot.why")} hint={t("lot.recall_means")} action={t("lot.recall_now", { number })} warn busy={doing.busy} onDo={recall} onClose={() => setAsking(false)}>
        <DayField id="recall-noticed" label={t("lot.noticed")} value={noticed} onPick={setNoticed} />
        <Field id="recall-reference" label={t("lot.reference")} value={reference} onInput={setReference} />
      </Reason>}
    </section>
  );
}
