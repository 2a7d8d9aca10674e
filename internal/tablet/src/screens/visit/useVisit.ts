// A visit as its screens share it: the record, who she is, what the core finds, and the one way to write.

import { signal } from "@preact/signals";
import { CoreError, type Anatomy, type Core, type Fault, type PatientLine } from "../../core";
import type { CheckSessionResponse, FormularyEdition, RecordView, Session } from "../../messages";
import { useRead } from "../../use";
import type { Step } from "../route";

export interface Visit {
  readonly core: Core;
  readonly view: RecordView;
  readonly session: Session;
  readonly patient: PatientLine | undefined;
  readonly check: CheckSessionResponse | undefined;
  readonly anatomy: Anatomy | undefined;
  readonly formulary: FormularyEdition | undefined;
  /** Writes registers or elements of the visit; it resolves when they are on the disk, and answers whether they are. */
  readonly write: (mask: readonly string[], change: Session) => Promise<boolean>;
  readonly show: (step: Step | "findings" | "review") => void;
}

/** faults are why the newest edit was refused; they stand on the screen until the next edit is taken or they are put away. */
export const faults = signal<readonly Fault[]>([]);

/** attempt runs what changes a record; a refusal is shown and nothing was changed. */
export async function attempt(doing: () => Promise<unknown>): Promise<boolean> {
  try {
    await doing();
    faults.value = [];
    return true;
  } catch (error) {
    if (!(error instanceof CoreError)) throw error;
    faults.value = error.faults;
    return false;
  }
}

/** useVisit reads a visit; null while it is not read, undefined parts come after. */
export function useVisit(core: Core, id: string, show: Visit["show"]): Visit | null {
  const view = useRead(core, () => core.view({ kind: "RECORD_KIND_SESSION", record_id: id }), [id]).value;
  const session = view?.record?.session;
  const patientId = session?.patient_id ?? "";
  const patient = useRead(core, async () => (patientId ? core.patient(patientId) : null), [patientId]).value;
  const check = useRead(core, () => core.checkSession({ session_id: id }), [id]).value;
  const anatomy = useRead(core, () => core.anatomy(), []).value;
  const formulary = useRead(core, () => core.formulary(), []).value;
  if (!view || !session) return null;
  const write: Visit["write"] = (mask, change) => attempt(() =>
    core.edit({ record: { session: { ...change, id } }, update_mask: [...mask], ...(view.context ? { context: view.context } : {}) }));
  return { core, view, session, patient: patient ?? undefined, check, anatomy, formulary, write, show };
}
