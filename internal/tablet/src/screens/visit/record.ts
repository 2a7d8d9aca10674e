// What a visit's record says, in the shapes that its screens need. It sorts and names what is there; it judges nothing.

import type { Act, Giving, Injection, Rating, Session, SessionStep, Side, Vial } from "../../messages";
import { nanoliters, sum, unitsOf, mlOf } from "../../ui/decimal";

/** live are the injections of the plan, in the order in which they are meant to be given. */
export const live = (session: Session): Injection[] => (session.injections ?? []).filter((i) => !i.void).sort((a, b) => (a.position ?? 0) - (b.position ?? 0));

/** givings are those of an injection that count. */
export const givings = (injection: Injection): Giving[] => (injection.givings ?? []).filter((g) => !g.void && g.given);

/** plannedUnits is the planned dose in units; empty when none is planned. */
export const plannedUnits = (injection: Injection): string => (injection.planned ? unitsOf(injection.planned.dose_milliunits) : "");

/** givenUnits is what was given of an injection in units; null when nothing was. */
export function givenUnits(injection: Injection): string | null {
  const counted = givings(injection);
  return counted.length ? sum(counted.map((g) => unitsOf(g.given!.dose?.dose_milliunits))) : null;
}

/** Group is a muscle and side: what is given with one tap. */
export interface Group {
  readonly key: string;
  readonly muscle: string;
  readonly side: Side | undefined;
  readonly injections: readonly Injection[];
}

/** groups are the muscles and sides in the order of the plan; a group ends where another muscle or side comes between. */
export function groups(injections: readonly Injection[]): Group[] {
  const out: { key: string; muscle: string; side: Side | undefined; injections: Injection[] }[] = [];
  for (const i of injections) {
    const last = out[out.length - 1];
    if (last && last.muscle === i.muscle && last.side === i.side) last.injections.push(i);
    else out.push({ key: i.id!, muscle: i.muscle ?? "", side: i.side, injections: [i] });
  }
  return out;
}

/** skipped are the injections that were planned, taken out of the plan, and not given. */
export const skipped = (session: Session): Injection[] => (session.injections ?? []).filter((i) => i.void && givings(i).length === 0);

/** stepNow is the newest state of the visit by the act's time; the folded state of the core counts where they differ. */
export function stepNow(session: Session): SessionStep | undefined {
  return [...(session.states ?? [])].sort((a, b) => (a.change?.moved?.at ?? "").localeCompare(b.change?.moved?.at ?? "")).at(-1)?.change?.step;
}

/** pausedNow is the pause that lasts; undefined when none does. */
export const pausedNow = (session: Session) => (session.pauses ?? []).find((p) => p.began && !p.ended);

/** measures are the distances measured on the patient, in micrometres. */
export function measures(session: Session): Record<string, number> {
  const out: Record<string, number> = {};
  for (const m of session.measurements ?? []) if (!m.void && m.distance?.measure) out[m.distance.measure] = m.distance.micrometers ?? 0;
  return out;
}

/** preparation is the newest preparation of a vial that counts. */
export const preparation = (vial: Vial) => (vial.preparations ?? []).filter((p) => !p.void).at(-1);

/** syringe is the newest syringe of the visit that is in use. */
export const syringe = (session: Session) => (session.syringes ?? []).filter((s) => !s.void && !s.emptied).at(-1);

/** Stop is where a plunger stood at a moment; without a mark something was given then and nobody read it. */
interface Stop {
  readonly at: number;
  readonly nanoliters: bigint | undefined;
}

/** stops is every place where the plunger of the syringe in use was seen or left, the last one last: of one moment the lower mark, and no mark after a mark. */
function stops(session: Session): Stop[] {
  const now = syringe(session);
  if (!now?.filling) return [];
  const stop = (at: string | undefined, mark: string | undefined): Stop => ({ at: Date.parse(at ?? "") || 0, nanoliters: mark === undefined ? undefined : BigInt(mark) });
  const seen = [stop(now.drawn?.at, now.filling.drawn_nanoliters ?? "0")];
  for (const r of now.readings ?? []) seen.push(stop(r.reading?.read?.at, r.reading?.mark_nanoliters ?? "0"));
  for (const i of session.injections ?? []) {
    for (const g of givings(i)) if (g.given?.syringe_id === now.id) seen.push(stop(g.done?.at, g.given?.mark_after_nanoliters));
  }
  const low = (a: Stop, b: Stop) => (a.nanoliters === undefined || b.nanoliters === undefined ? Number(b.nanoliters !== undefined) - Number(a.nanoliters !== undefined) : Number(b.nanoliters - a.nanoliters));
  return seen.sort((a, b) => a.at - b.at || low(a, b));
}

/** plungerMl is where the plunger of the syringe in use was last seen or left, in millilitres. */
export function plungerMl(session: Session): string | undefined {
  const known = stops(session).findLast((s) => s.nanoliters !== undefined)?.nanoliters;
  return known === undefined ? undefined : mlOf(known.toString());
}

/** plungerRead is whether plungerMl tells where it stands now: not when something was given since, without the mark at which it stopped. */
export const plungerRead = (session: Session): boolean => {
  const all = stops(session);
  return all.length === 0 || all.at(-1)!.nanoliters !== undefined;
};

/** currentRatings are the grades that count, newest last. */
export const currentRatings = (session: Session): Rating[] => (session.ratings ?? []).filter((r) => !r.void && r.grade);

/** act is who does it and when, for an edit. */
export const act = (by: string): Act => ({ by, at: new Date().toISOString().replace(/\.\d+Z$/, "Z") });

/** differenceMl is a less b in millilitres, exactly; both are marks. */
export function differenceMl(a: string, b: string): string {
  const [x, y] = [BigInt(nanoliters(a) ?? 0), BigInt(nanoliters(b) ?? 0)];
  return mlOf((x - y).toString());
}
