// The vial of a visit: the one that was drawn from, else the one that was picked on this tablet and not yet drawn from.

import { useState } from "preact/hooks";
import type { Preparation, RecordView, Vial, VialContent } from "../../messages";
import { useRead } from "../../use";
import { mlOf, unitsOf } from "../../ui/decimal";
import { preparation, syringe } from "./record";
import type { Visit } from "./useVisit";

export interface VialNow {
  readonly view: RecordView | undefined;
  readonly vial: Vial | undefined;
  readonly preparation: Preparation | undefined;
  /** What it holds, as the core reckons with it; undefined while it is a dry powder or none is picked. */
  readonly content: VialContent | undefined;
  readonly pick: (id: string) => void;
}

/** contentOf is a vial with its preparation; undefined for a powder that nobody mixed. */
export function contentOf(vial: Vial | undefined): VialContent | undefined {
  const p = vial?.presentation, mixed = vial && preparation(vial);
  if (!p?.content_milliunits) return undefined;
  const content_units = unitsOf(p.content_milliunits);
  if (p.liquid_nanoliters) return { content_units, liquid_ml: mlOf(p.liquid_nanoliters) };
  if (!mixed?.diluent?.volume_nanoliters) return undefined;
  return { content_units, diluent_ml: mlOf(mixed.diluent.volume_nanoliters), ...(mixed.diluent.kind ? { diluent: mixed.diluent.kind } : {}) };
}

/** useVial is the vial of the visit. */
export function useVial(visit: Visit): VialNow {
  const name = `visit/${visit.session.id}/vial`;
  const [picked, setPicked] = useState(() => visit.core.kept(name));
  const id = syringe(visit.session)?.filling?.vial_id ?? picked;
  const view = useRead(visit.core, async () => (id ? visit.core.view({ kind: "RECORD_KIND_VIAL", record_id: id }) : null), [id]).value ?? undefined;
  const vial = view?.record?.vial;
  return { view, vial, preparation: vial && preparation(vial), content: contentOf(vial), pick: (to) => { setPicked(to); void visit.core.keep(name, to); } };
}
