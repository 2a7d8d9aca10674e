// What is written at the needle. Each giving is an element of its own; nothing given is deleted, it is voided with a reason.

import type { Injection, Spill } from "../../../messages";
import { milliunits, nanoliters } from "../../../ui/decimal";
import { act, differenceMl, givings, plungerMl, preparation, syringe, type Group } from "../record";
import type { VialNow } from "../useVial";
import { attempt, type Visit } from "../useVisit";
import { t } from "../../../i18n";

/** Made is a giving that was written: which injection, which giving. */
export interface Made { readonly injection: string; readonly giving: string }

/** from is where the doses come from, as far as it is known. */
function from(visit: Visit, vial: VialNow) {
  const now = syringe(visit.session);
  const draw = (vial.vial?.draws ?? []).find((d) => !d.void && d.amount?.syringe_id === now?.id);
  const mixed = vial.vial && preparation(vial.vial);
  return { ...(vial.vial?.id ? { vial_id: vial.vial.id } : {}), ...(mixed?.id ? { preparation_id: mixed.id } : {}), ...(now?.id ? { syringe_id: now.id } : {}), ...(draw?.id ? { draw_id: draw.id } : {}) };
}

/** giveGroup writes that what is left of a muscle and side was given as planned, with the marks that the core reckoned, in one edit. */
export async function giveGroup(visit: Visit, group: Group, marks: ReadonlyMap<string, string> | undefined, vial: VialNow): Promise<Made[] | null> {
  const done = act(visit.core.person.value.staff_id), source = from(visit, vial);
  let before = plungerMl(visit.session);
  const made: Made[] = [], injections: Injection[] = [];
  for (const i of group.injections.filter((x) => givings(x).length === 0 && x.planned)) {
    const giving = visit.core.newId(), after = marks?.get(i.id!);
    const known = before !== undefined && after !== undefined;
    injections.push({ id: i.id!, givings: [{ id: giving, done, given: { dose: i.planned!, ...source,
      ...(known ? { volume_nanoliters: nanoliters(differenceMl(before!, after!))!, mark_before_nanoliters: nanoliters(before!)!, mark_after_nanoliters: nanoliters(after!)! } : {}) } }] });
    made.push({ injection: i.id!, giving });
    before = after ?? before;
  }
  const state = visit.session.states?.some((s) => s.change?.step === "SESSION_STEP_IN_TREATMENT") ? null : visit.core.newId();
  const kept = made.length > 0 && await visit.write([...made.map((m) => `injections[${m.injection}].givings[${m.giving}]`), ...(state ? [`states[${state}]`] : [])],
    { injections, ...(state ? { states: [{ id: state, change: { step: "SESSION_STEP_IN_TREATMENT", moved: done } }] } : {}) });
  return kept ? made : null;
}

/** voidGiving says that something was not given so. */
export const voidGiving = (visit: Visit, made: Made, reason: string) =>
  attempt(() => visit.core.void({ key: { kind: "RECORD_KIND_SESSION", record_id: visit.session.id! }, path: `injections[${made.injection}].givings[${made.giving}]`, reason }));

/** undoGroup takes the newest tap back. */
export async function undoGroup(visit: Visit, made: readonly Made[]): Promise<void> {
  for (const m of made) await voidGiving(visit, m, t("treat.undo_reason"));
}

/** skipGroup takes what is left of a muscle and side out of the plan, and answers which injections. */
export async function skipGroup(visit: Visit, group: Group, reason: string): Promise<string[]> {
  const out: string[] = [];
  for (const i of group.injections.filter((x) => givings(x).length === 0)) {
    const kept = await attempt(() => visit.core.void({ key: { kind: "RECORD_KIND_SESSION", record_id: visit.session.id! }, path: `injections[${i.id}]`, reason }));
    if (kept) out.push(i.id!);
  }
  return out;
}

/** undoSkip puts skipped injections back. */
export const undoSkip = (visit: Visit, ids: readonly string[]) => visit.write(ids.map((id) => `injections[${id}].void`), { injections: ids.map((id) => ({ id })) });

/** giveChanged writes one injection given otherwise than planned, with the plunger as it was read and why. */
export function giveChanged(visit: Visit, injection: Injection, product: string, units: string, markMl: string, reason: string, vial: VialNow) {
  const id = visit.core.newId(), deviation = visit.core.newId(), done = act(visit.core.person.value.staff_id);
  const before = plungerMl(visit.session), dose_milliunits = milliunits(units)!;
  const marks = before !== undefined && markMl ? { volume_nanoliters: nanoliters(differenceMl(before, markMl))!, mark_before_nanoliters: nanoliters(before)!, mark_after_nanoliters: nanoliters(markMl)! } : {};
  return visit.write([`injections[${injection.id}].givings[${id}]`, `deviations[${deviation}]`], {
    injections: [{ id: injection.id!, givings: [{ id, done, given: { dose: { product, dose_milliunits }, ...from(visit, vial), ...marks } }] }],
    deviations: [{ id: deviation, reason: { injection_id: injection.id!, reason, given: done } }],
  });
}

/** spill writes what leaked or was spilled at the newest giving, and where the plunger stands now; without a giving the reading alone. */
export function spill(visit: Visit, last: Made | undefined, lostMl: string, markMl: string, text: string) {
  const seen = act(visit.core.person.value.staff_id), now = syringe(visit.session);
  const lost: Spill = { seen, text, ...(lostMl ? { lost_nanoliters: nanoliters(lostMl)! } : {}) };
  const reading = visit.core.newId();
  return visit.write([...(last ? [`injections[${last.injection}].givings[${last.giving}].spill`] : []), ...(now && markMl ? [`syringes[${now.id}].readings[${reading}]`] : [])], {
    ...(last ? { injections: [{ id: last.injection, givings: [{ id: last.giving, spill: lost }] }] } : {}),
    ...(now && markMl ? { syringes: [{ id: now.id!, readings: [{ id: reading, reading: { mark_nanoliters: nanoliters(markMl)!, ...(last ? { after_injection_id: last.injection } : {}), read: seen } }] }] } : {}),
  });
}
