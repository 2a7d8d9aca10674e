// The plan on the face: the same injections as in the table, the zones of the muscle that is chosen, and last time faint.

import type { ComponentChildren } from "preact";
import { useState } from "preact/hooks";
import type { Injection, Place, Session, Side } from "../../../messages";
import { t } from "../../../i18n";
import { useRead } from "../../../use";
import { Choice } from "../../../ui/Choice";
import { Face } from "../../../ui/face/Face";
import type { Point } from "../../../ui/face/curve";
import type { FaceEdge } from "../../../ui/face/Edges";
import { drawn, placed } from "../../../ui/face/frame";
import type { FaceMark } from "../../../ui/face/Marks";
import type { Part } from "../../../ui/face/muscles";
import { mmOf } from "../../../ui/decimal";
import { givings, live, measures, plannedUnits } from "../record";
import type { Visit } from "../useVisit";

interface PlanFaceProps {
  readonly visit: Visit;
  readonly injections: readonly Injection[];
  readonly numbers: ReadonlyMap<string, number>;
  readonly last: Session | undefined;
  readonly selected: Injection | undefined;
  readonly onSelect: (id: string) => void;
  /** A touch on bare skin while an injection is chosen moves it there. */
  readonly onPlace: (place: Place, side: Side) => void;
}

/** marksOf are the injections that have a place, as the drawing takes them. */
export function marksOf(injections: readonly Injection[], numbers: ReadonlyMap<string, number>, scale: Readonly<Record<string, number>>): FaceMark[] {
  return injections.filter((i) => i.place).map((i) => ({
    id: i.id!, number: numbers.get(i.id!) ?? 0, at: drawn(i.place!, i.side, scale), units: plannedUnits(i), state: i.void ? "skipped" : givings(i).length ? "given" : "planned",
  }));
}

/** partOf is the part of the face where the plan is: the whole where it is in several. */
export function partOf(visit: Visit, injections: readonly Injection[]): Part {
  const regions = new Set(injections.map((i) => visit.anatomy?.muscles.find((m) => m.code === i.muscle)?.region));
  regions.delete(undefined);
  if (regions.size === 1 && regions.has("lower_face")) return "lower";
  return regions.size === 1 && regions.has("upper_face") ? "upper" : "whole";
}

/** PlanFace draws the plan and takes touches. */
export function PlanFace({ visit, injections, numbers, last, selected, onSelect, onPlace }: PlanFaceProps) {
  const [chosen, setPart] = useState<Part | undefined>(undefined);
  const [layer, setLayer] = useState<"none" | "planned" | "all">("none");
  const part = chosen ?? partOf(visit, injections);
  const scale = measures(visit.session);
  const edges = useEdges(visit, selected);
  const strong = selected?.muscle ? [selected.muscle] : [...new Set(injections.map((i) => i.muscle ?? ""))];
  const touch = (point: Point, mark: FaceMark | undefined) => {
    if (mark) return onSelect(mark.id);
    const frame = selected && (selected.place?.frame ?? visit.anatomy?.muscles.find((m) => m.code === selected.muscle)?.frame);
    if (!selected || !frame) return;
    const side: Side = selected.side ?? (point[0] < 0 ? "SIDE_RIGHT" : "SIDE_LEFT");
    onPlace(placed(point, frame, side, scale), side);
  };
  return (
    <div class="stack tight">
      <Face measures={scale} marks={marksOf(injections, numbers, scale)} last={last ? marksOf(live(last), numbers, scale) : []} edges={edges} part={part} selected={selected?.id}
        {...(layer === "none" ? {} : { muscles: { strong, all: layer === "all" } })} onTouch={touch} label={t("face.label", { n: injections.length })} />
      <div class="row">
        <Choice legend={t("face.part")} quiet value={part} onPick={setPart} options={(["whole", "upper", "lower"] as const).map((value) => ({ value, label: label(`face.${value}`) }))} />
        <Choice legend={t("face.layer")} quiet value={layer} onPick={setLayer} options={(["none", "planned", "all"] as const).map((value) => ({ value, label: label(`face.muscles_${value}`) }))} />
      </div>
    </div>
  );
}

const label = (key: "face.whole" | "face.upper" | "face.lower" | "face.muscles_none" | "face.muscles_planned" | "face.muscles_all"): ComponentChildren => t(key);

/** useEdges asks the core for the zone edges of the chosen injection's muscle on both sides, and on which side of each edge the zone asks not to go. */
function useEdges(visit: Visit, selected: Injection | undefined): FaceEdge[] {
  const muscle = selected?.muscle ?? "";
  const frame = selected?.place?.frame ?? visit.anatomy?.muscles.find((m) => m.code === muscle)?.frame ?? "";
  const scale = selected?.place?.scale;
  return useRead(visit.core, async () => {
    if (!muscle || !frame) return [];
    const sides: Side[] = ["SIDE_RIGHT", "SIDE_LEFT"];
    const drawings = await Promise.all(sides.map((side) => visit.core.drawing({ frame, side, muscle,
      ...(scale?.measure ? { scale: { measure: scale.measure, measured_mm: mmOf(scale.measured_micrometers) } } : {}) })));
    return drawings.flatMap((d, i) => d.edges.map((edge): FaceEdge => ({ frame, side: sides[i]!, muscle, edge })));
  }, [muscle, frame, scale?.measure, scale?.measured_micrometers]).value ?? [];
}
