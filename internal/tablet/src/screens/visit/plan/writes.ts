// What the plan's screens write. Each answers whether it is on the disk.

import type { Depth, Injection, Place, Session, Side } from "../../../messages";
import { milliunits } from "../../../ui/decimal";
import { act, givings, live } from "../record";
import { attempt, type Visit } from "../useVisit";

/** step is how far apart positions are made, so that one can be put between two. */
const step = 10;

const after = (session: Session) => Math.max(0, ...live(session).map((i) => i.position ?? 0)) + step;

/** opposite is the other side; the midline is its own. */
export const opposite = (side: Side | undefined): Side | undefined => (side === "SIDE_RIGHT" ? "SIDE_LEFT" : side === "SIDE_LEFT" ? "SIDE_RIGHT" : side);

/** setUnits plans a dose of the product. */
export function setUnits(visit: Visit, id: string, product: string, units: string) {
  const dose_milliunits = milliunits(units);
  if (dose_milliunits === null) return Promise.resolve(false);
  return visit.write([`injections[${id}].planned`], { injections: [{ id, planned: { product, dose_milliunits } }] });
}

/** setPlace moves an injection. */
export const setPlace = (visit: Visit, id: string, place: Place) => visit.write([`injections[${id}].place`], { injections: [{ id, place }] });

/** setDepth says how deep an injection goes. */
export const setDepth = (visit: Visit, id: string, layer: NonNullable<Depth["layer"]>) => visit.write([`injections[${id}].depth`], { injections: [{ id, depth: { layer } }] });

/** setUneven says why the two sides of a muscle are meant to differ. */
export const setUneven = (visit: Visit, id: string, reason: string) => visit.write([`injections[${id}].uneven_reason`], { injections: [{ id, uneven_reason: reason }] });

/** add plans one more injection and answers its id. */
export async function add(visit: Visit, muscle: string, side: Side, place?: Place): Promise<string> {
  const id = visit.core.newId();
  await visit.write([`injections[${id}]`], { injections: [{ id, muscle, side, position: after(visit.session), ...(place ? { place } : {}) }] });
  return id;
}

/** takeOut takes an injection out of the plan; it stays in the record with its reason. */
export const takeOut = (visit: Visit, id: string, reason: string) =>
  attempt(() => visit.core.void({ key: { kind: "RECORD_KIND_SESSION", record_id: visit.session.id! }, path: `injections[${id}]`, reason }));

/** putBack puts it into the plan again. */
export const putBack = (visit: Visit, id: string) => visit.write([`injections[${id}].void`], { injections: [{ id }] });

/** copyOver plans on the other side what a muscle has on this one, place mirrored by the core, and answers whether there was anything to copy. */
export async function copyOver(visit: Visit, muscle: string, side: Side): Promise<boolean> {
  const from = live(visit.session).filter((i) => i.muscle === muscle && i.side === side);
  let position = after(visit.session);
  const made: Injection[] = [];
  for (const i of from) {
    made.push({ ...planOf(i), id: visit.core.newId(), side: opposite(side)!, position, ...(i.place ? { place: await visit.core.mirror(i.place) } : {}) });
    position += step;
  }
  return made.length > 0 && visit.write(made.map((i) => `injections[${i.id}]`), { injections: made });
}

const planOf = (i: Injection): Injection => ({
  ...(i.muscle ? { muscle: i.muscle } : {}), ...(i.side ? { side: i.side } : {}), ...(i.place ? { place: i.place } : {}), ...(i.depth ? { depth: i.depth } : {}),
  ...(i.planned ? { planned: i.planned } : {}), ...(i.technique ? { technique: i.technique } : {}),
});

/** asBefore plans what was given or planned in an earlier visit. */
export function asBefore(visit: Visit, earlier: Session): Promise<boolean> {
  let position = after(visit.session);
  const made = live(earlier).filter((i) => i.planned || givings(i).length).map((i): Injection => {
    const given = givings(i)[0]?.given?.dose;
    const one = { ...planOf(i), id: visit.core.newId(), position, ...(i.planned ? {} : given ? { planned: given } : {}) };
    position += step;
    return one;
  });
  return visit.write([...made.map((i) => `injections[${i.id}]`), "plan_origin"],
    { injections: made, plan_origin: { session_id: earlier.id!, chosen: act(visit.core.person.value.staff_id) } });
}

/** measured keeps a distance measured on the patient; an older one of the same name is voided by the core's newest reading and stays. */
export function measured(visit: Visit, measure: string, micrometers: number) {
  const old = (visit.session.measurements ?? []).find((m) => !m.void && m.distance?.measure === measure);
  const id = old?.id ?? visit.core.newId();
  const distance = { measure, micrometers, contraction: "CONTRACTION_AT_REST" as const, measured: act(visit.core.person.value.staff_id) };
  return visit.write([old ? `measurements[${id}].distance` : `measurements[${id}]`], { measurements: [{ id, distance }] });
}
