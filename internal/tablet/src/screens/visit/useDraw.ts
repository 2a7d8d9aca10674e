// What is to be drawn and where the plunger stands after each injection. The core reckons; after a leak, a changed dose or a reading it reckons the rest
// anew from where the plunger stands.

import type { DrawResumption, Injection, PlanDrawRequest, PlanDrawResponse, Session, DoseSideGiven, SyringeType, VialContent } from "../../messages";
import { useRead } from "../../use";
import { mlOf, sum } from "../../ui/decimal";
import { givings, live, plannedUnits, plungerMl, plungerRead, syringe } from "./record";
import type { Visit } from "./useVisit";

export interface DrawNow {
  readonly plan: PlanDrawResponse;
  /** The mark after each injection, in millilitres, by the injection's id. */
  readonly marks: ReadonlyMap<string, string>;
  /** True when the rest was reckoned anew from the plunger's reading. */
  readonly resumed: boolean;
}

const doseOf = (i: Injection) => ({ ref: i.id!, dose_units: plannedUnits(i), ...(i.side ? { side: i.side } : {}), ...(i.muscle ? { muscle: i.muscle } : {}) });

/** marksOf is where the plunger stands after each injection of an answer. */
const marksOf = (plan: PlanDrawResponse) => new Map((plan.syringes ?? []).flatMap((s) => (s.marks ?? []).map((m) => [m.ref ?? "", m.mark_ml ?? ""] as const)));

/** asPlanned says whether everything given so far left the plunger where the plan said, with nothing lost and nothing read since. */
function asPlanned(session: Session, given: readonly Injection[], marks: ReadonlyMap<string, string>): boolean {
  if ((session.syringes ?? []).some((s) => !s.void && (s.readings ?? []).length > 0)) return false;
  return given.every((i) => {
    const g = givings(i);
    return g.length === 1 && !g[0]!.spill && g[0]!.given?.dose?.dose_milliunits === i.planned?.dose_milliunits && mlOf(g[0]!.given?.mark_after_nanoliters) === marks.get(i.id!);
  });
}

/** sidesGiven is what each side had: the exact volume from the core, the delivered one from the marks as they were recorded. */
async function sidesGiven(visit: Visit, base: Omit<PlanDrawRequest, "doses">, given: readonly Injection[]): Promise<DoseSideGiven[]> {
  if (given.length === 0) return [];
  const exact = await visit.core.planDraw({ ...base, doses: given.map(doseOf) });
  return (exact.sides ?? []).map((s) => {
    const volumes = given.filter((i) => i.side === s.side).flatMap(givings).map((g) => mlOf(g.given?.volume_nanoliters));
    return { ...(s.side ? { side: s.side } : {}), exact_ml: s.planned?.volume_ml_fraction ?? s.planned?.volume_ml ?? "0", delivered_ml: sum(volumes) ?? "0" };
  });
}

function lossOf(given: readonly Injection[]): Pick<DrawResumption, "loss"> {
  const spills = given.flatMap(givings).map((g) => g.spill).filter((s) => s !== undefined);
  if (spills.length === 0) return {};
  const known = spills.every((s) => s.lost_nanoliters !== undefined);
  return { loss: known ? { lost_ml: sum(spills.map((s) => mlOf(s.lost_nanoliters))) ?? "0" } : {} };
}

/** useDraw asks for the draw of the visit's plan; undefined while something it needs is missing. */
export function useDraw(visit: Visit, product: string, content: VialContent | undefined, type: SyringeType | undefined, primingMl: string) {
  const session = visit.session;
  const all = live(session).filter((i) => i.planned);
  const key = JSON.stringify([all.map((i) => [i.id, i.planned, i.side, i.givings]), session.syringes, content, type, primingMl]);
  return useRead(visit.core, async (): Promise<DrawNow | undefined> => {
    if (!content || !type || all.length === 0) return undefined;
    const base = { product, vial: content, syringe: type, priming_ml: primingMl };
    const whole = await visit.core.planDraw({ ...base, doses: all.map(doseOf) });
    const given = all.filter((i) => givings(i).length > 0), rest = all.filter((i) => givings(i).length === 0);
    const marks = marksOf(whole), plunger = plungerMl(session);
    if (!syringe(session) || plunger === undefined || rest.length === 0 || asPlanned(session, given, marks)) return { plan: whole, marks, resumed: false };
    // Nobody knows from where the plunger goes on: no mark is better than a wrong one, until it is read.
    if (!plungerRead(session)) return { plan: whole, marks: new Map(), resumed: true };
    const resume = { plunger_ml: plunger, given: await sidesGiven(visit, base, given), ...lossOf(given) };
    const plan = await visit.core.planDraw({ ...base, doses: rest.map(doseOf), resume });
    return { plan, marks: marksOf(plan), resumed: true };
  }, [key]);
}
