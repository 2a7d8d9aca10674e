// A visit: its steps in the order of the work, each reachable at any moment. Nothing here is modal, and no step locks another.

import { useEffect, useState } from "preact/hooks";
import type { Core } from "../../core";
import { dayText, t, word, timeText } from "../../i18n";
import { Findings } from "../../ui/Findings";
import { Frame } from "../Frame";
import { go, reviewSteps, steps, type Route, type Step } from "../route";
import { Check } from "./Check";
import { Consent } from "./Consent";
import { Draw } from "./Draw";
import { Finish } from "./Finish";
import { PauseBar, PausePanel } from "./Pause";
import { Photos } from "./Photos";
import { Plan } from "./Plan";
import { Prepare } from "./Prepare";
import { Ratings } from "./Ratings";
import { Review } from "./Review";
import { Screening } from "./Screening";
import { act, pausedNow } from "./record";
import { stepState } from "./state";
import { Treat } from "./Treat";
import { faults, useVisit, type Visit as VisitData } from "./useVisit";

type VisitStep = Step | "findings" | "review";

/** StepProps is what a step is given. */
export interface StepProps {
  readonly visit: VisitData;
  /** Puts what can be done into the deck. */
  readonly layout: (parts: { title: string; body: preact.ComponentChildren; deck?: preact.ComponentChildren }) => preact.JSX.Element;
}

/** Visit shows one step of a visit. */
export function Visit({ core, id, step }: { core: Core; id: string; step: VisitStep }) {
  const show = (to: VisitStep) => go({ screen: "visit", id, step: to });
  const visit = useVisit(core, id, show);
  const [pausing, setPausing] = useState(false);
  useEffect(() => { core.visiting(true); return () => core.visiting(false); }, [core, id]);
  if (!visit) return <Frame core={core} head={<strong>{t("visit.title")}</strong>} title={t("visit.missing")}><p>{t("visit.missing_more")}</p></Frame>;
  const layout: StepProps["layout"] = ({ title, body, deck }) => (
    <Frame core={core} head={<Who visit={visit} />} rail={rail(visit, step, show)} title={title}
      deck={<><PauseBar visit={visit} onPause={() => setPausing(true)} />{deck}</>}>
      <Faults />
      {(pausing || pausedNow(visit.session)) && <PausePanel visit={visit} onClose={() => setPausing(false)} />}
      {body}
    </Frame>
  );
  const Body = bodies[step];
  return <Body key={step} visit={visit} layout={layout} />;
}

const bodies: Record<VisitStep, (props: StepProps) => preact.JSX.Element> = {
  screening: Screening, consent: Consent, photos: Photos, ratings: Ratings, plan: Plan, prepare: Prepare, draw: Draw, check: Check, treat: Treat, finish: Finish,
  review: Review, findings: AllFindings,
};

function rail(visit: VisitData, step: VisitStep, show: (to: VisitStep) => void) {
  const review = visit.session.kind === "SESSION_KIND_REVIEW";
  const order: readonly VisitStep[] = review ? ["review", ...reviewSteps, "findings"] : [...steps, "findings"];
  return [
    { label: t("step.day"), current: false, onGo: () => go({ screen: "day" }) },
    ...order.map((s) => ({ label: word("step", s), state: stepState(visit, s), current: s === step, onGo: () => show(s) })),
  ];
}

/** Who names the patient by two things that identify her, and shows her alerts as long as the visit is open. */
export function Who({ visit }: { visit: VisitData }) {
  const p = visit.patient;
  const back: Route = { screen: "patient", id: visit.session.patient_id ?? "" };
  return (
    <>
      <button type="button" class="button quiet" onClick={() => go(back)}><strong>{p?.name?.full ?? t("patient.unknown")}</strong></button>
      <span class="nowrap">{t("patient.born", { day: dayText(p?.birth?.date) })}</span>
      {(p?.alerts ?? []).map((a) => <span class="tag caution"><span aria-hidden="true">{"\u25b2"}</span> {a.text || word("alert", a.kind)}</span>)}
    </>
  );
}

/** Faults says why the newest edit was refused, and what to do. What was typed is still there. */
export function Faults() {
  if (faults.value.length === 0) return null;
  return (
    <section class="message hold stack tight" role="alert">
      <h2>{t("fault.title")}</h2>
      <ul>{faults.value.map((f) => <li><span class="strong">{f.text}</span> {f.fix}</li>)}</ul>
      <div><button type="button" class="button" onClick={() => { faults.value = []; }}>{t("fault.close")}</button></div>
    </section>
  );
}

/** AllFindings is every finding of the visit in one list. */
function AllFindings({ visit, layout }: StepProps) {
  const { check, core } = visit;
  const answer = (f: import("../../messages").Finding, reason: string) => {
    const id = core.newId();
    const decided = act(core.person.value.staff_id);
    const role = core.person.value.roles.find((r) => f.liftable_by?.includes(r)) ?? core.person.value.roles[0];
    void visit.write([`finding_answers[${id}]`], { finding_answers: [{ id, answer: {
      finding_id: f.finding_id ?? "", code: f.code ?? "", level: f.level ?? "LEVEL_UNSPECIFIED", text: f.text ?? "", reason, decided, ...(role ? { role } : {}),
      decision: f.level === "LEVEL_HOLD" ? "FINDING_DECISION_KIND_LIFTED" : "FINDING_DECISION_KIND_ACCEPTED" } }] });
  };
  return layout({
    title: t("findings.title"),
    body: (
      <>
        <p class={check?.may_inject ? "message" : "message hold"}>{check ? t(check.may_inject ? "findings.may" : "findings.may_not") : t("findings.reading")}</p>
        <Findings findings={check?.findings ?? []} answering={{ roles: core.person.value.roles, onAnswer: answer }} none={t("findings.none")} />
        <p class="caution-line">{check?.caution} {check?.edition?.version && t("findings.edition", { version: check.edition.version })} {t("findings.at", { time: timeText(Date.now()) })}</p>
      </>
    ),
  });
}
