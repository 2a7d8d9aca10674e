// Beginning a visit: a new record with what is known, opened at its first step.

import type { Core } from "../core";
import type { Session, SessionKind } from "../messages";
import { go } from "./route";
import { today } from "./today";
import { act } from "./visit/record";
import { attempt } from "./visit/useVisit";

export interface Beginning {
  readonly patient_id: string;
  readonly kind: SessionKind;
  readonly appointment_id?: string;
  /** The visit that this one looks back on. */
  readonly parent?: string;
}

/** schemaVersion is the version of the schema that these screens write. */
const schemaVersion = 1;

/** basisOf is what the visit begins with and keeps: the formulary and the core that this tablet reckons with, as the core names them. */
async function basisOf(core: Core, patient_id: string): Promise<Session["basis"] | undefined> {
  const used = (await core.toxinHistory({ patient_id })).edition;
  if (!used?.hash || !used.core_version) return undefined;
  const hash = btoa(used.hash.replace(/../g, (byte) => String.fromCharCode(parseInt(byte, 16))));
  return { edition: { version: used.version ?? "", hash, ...(used.edition_id ? { edition_id: used.edition_id } : {}) }, core_version: used.core_version, schema_version: schemaVersion };
}

/** startVisit writes the visit and shows it. */
export async function startVisit(core: Core, b: Beginning): Promise<void> {
  const id = core.newId(), state = core.newId(), by = core.person.value.staff_id;
  const order = b.kind === "SESSION_KIND_REVIEW" ? undefined : await orderOf(core, b.patient_id);
  const basis = await basisOf(core, b.patient_id);
  const session: Session = { id, patient_id: b.patient_id, clinic_id: core.device.value.clinic_id, kind: b.kind, on: today(), responsible_id: by,
    states: [{ id: state, change: { step: "SESSION_STEP_OPEN", moved: act(by) } }],
    ...(b.appointment_id ? { appointment_id: b.appointment_id } : {}), ...(b.parent ? { parent: { session_id: b.parent } } : {}), ...(order ? { order_id: order } : {}), ...(basis ? { basis } : {}) };
  const update_mask = ["patient_id", "clinic_id", "kind", "on", "responsible_id", `states[${state}]`, ...(b.appointment_id ? ["appointment_id"] : []), ...(b.parent ? ["parent"] : []), ...(order ? ["order_id"] : []), ...(basis ? ["basis"] : [])];
  if (await attempt(() => core.edit({ record: { session }, update_mask }))) go({ screen: "visit", id, step: b.kind === "SESSION_KIND_REVIEW" ? "review" : "screening" });
}

/** orderOf is the patient's newest order that was issued and not withdrawn; the guardrails judge whether it covers what is planned. */
async function orderOf(core: Core, patient_id: string): Promise<string | undefined> {
  const orders = (await core.list({ kind: "RECORD_KIND_ORDER", patient_id })).map((v) => v.record?.order).filter((o) => o?.issued && !o.withdrawn);
  return orders.sort((a, b) => (a!.issued!.issued?.at ?? "").localeCompare(b!.issued!.issued?.at ?? "")).at(-1)?.id;
}
