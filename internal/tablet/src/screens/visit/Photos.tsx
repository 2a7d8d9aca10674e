// Photographs: the standard views, each with the last one faint over the camera, and then side by side.

import { useEffect, useRef, useState } from "preact/hooks";
import type { PhotoView, RecordView } from "../../messages";
import { dayText, momentText, t } from "../../i18n";
import { useRead } from "../../use";
import { photoStore, type PhotoStore } from "../photoStore";
import { live } from "./record";
import { attempt, type Visit } from "./useVisit";
import { writePhoto } from "./photos/writes";
import type { StepProps } from "./Visit";

/** viewsOf are the formulary's views for the regions of the plan, in their order. */
function viewsOf(visit: Visit): PhotoView[] {
  const planned = new Set(live(visit.session).map((i) => visit.anatomy?.muscles.find((m) => m.code === i.muscle)?.region));
  const all = (visit.formulary?.photo_views ?? []).filter((e) => !e.removed && e.value).map((e) => e.value!);
  const fitting = all.filter((v) => planned.size === 0 || planned.has(v.region));
  return (fitting.length ? fitting : all).sort((a, b) => (a.position ?? 0) - (b.position ?? 0));
}

/** Photos is the step. */
export function Photos({ visit, layout }: StepProps) {
  const store = photoStore(visit.core);
  const [view, setView] = useState<PhotoView | null>(null);
  const patient = visit.session.patient_id;
  const all = useRead(visit.core, async () => (patient ? visit.core.list({ kind: "RECORD_KIND_PHOTO", patient_id: patient }) : []), [patient]).value ?? [];
  const of = (v: PhotoView) => all.filter((r) => r.record?.photo?.view?.view === v.code && !r.record?.photo?.void).sort((a, b) => (b.record!.photo!.taken?.at ?? "").localeCompare(a.record!.photo!.taken?.at ?? ""));
  return layout({
    title: t("photos.title"),
    deck: <button type="button" class="button primary" onClick={() => visit.show("ratings")}>{t("photos.next")}</button>,
    body: (
      <>
        {!store && <p class="message caution">{t("photos.no_store")}</p>}
        {view && store && <Camera visit={visit} store={store} view={view} last={of(view).find((r) => r.record!.photo!.session_id !== visit.session.id)} onClose={() => setView(null)} />}
        <ul class="rows">{viewsOf(visit).map((v) => <ViewLine visit={visit} store={store} view={v} photos={of(v)} onTake={store ? () => setView(v) : undefined} />)}</ul>
      </>
    ),
  });
}

function ViewLine({ visit, store, view, photos, onTake }: { visit: Visit; store: PhotoStore | undefined; view: PhotoView; photos: readonly RecordView[]; onTake: (() => void) | undefined }) {
  const now = photos.find((r) => r.record!.photo!.session_id === visit.session.id), before = photos.find((r) => r.record!.photo!.session_id !== visit.session.id);
  return (
    <li class="card stack tight">
      <div class="row apart">
        <span><span class="strong large">{view.label}</span> <span class="soft">{now ? `\u2713 ${t("photos.taken", { time: momentText(now.record!.photo!.taken?.at) })}` : view.may_be_left_out ? t("photos.may_leave") : t("photos.owed")}</span></span>
        <button type="button" class="button chart" onClick={onTake} aria-disabled={!onTake}>{t(now ? "photos.again" : "photos.take")}</button>
      </div>
      {store && now && before && <div class="two"><Shown store={store} photo={before} label={t("photos.before", { day: dayText(undefined) })} /><Shown store={store} photo={now} label={t("photos.now")} /></div>}
    </li>
  );
}

function Shown({ store, photo, label }: { store: PhotoStore; photo: RecordView; label: string }) {
  const [url, setUrl] = useState("");
  const hash = photo.record?.photo?.image?.sha256 ?? "";
  useEffect(() => { let live = true; void store.photoUrl(hash).then((u) => live && setUrl(u)); return () => { live = false; }; }, [hash]);
  const p = photo.record!.photo!;
  return <figure class="stack tight">{url && <img src={url} alt={label} style={{ width: "100%" }} />}<figcaption>{label} <span class="soft">{momentText(p.taken?.at)}</span></figcaption></figure>;
}

function Camera({ visit, store, view, last, onClose }: { visit: Visit; store: PhotoStore; view: PhotoView; last: RecordView | undefined; onClose: () => void }) {
  const video = useRef<HTMLVideoElement>(null);
  const [failed, setFailed] = useState(false), [ghost, setGhost] = useState("");
  useEffect(() => {
    let stream: MediaStream | undefined, stopped = false;
    navigator.mediaDevices?.getUserMedia({ video: { facingMode: "environment", width: { ideal: 2048 } } }).then((s) => {
      stream = s;
      if (stopped || !video.current) return s.getTracks().forEach((track) => track.stop());
      video.current.srcObject = s;
      void video.current.play();
    }, () => setFailed(true));
    const hash = last?.record?.photo?.image?.sha256;
    if (hash) void store.photoUrl(hash).then(setGhost);
    return () => { stopped = true; stream?.getTracks().forEach((track) => track.stop()); };
  }, []);
  const take = async () => { if (video.current && await attempt(() => writePhoto(visit, store, view, video.current!, last?.record?.photo?.id))) onClose(); };
  return (
    <section class="card marked stack tight" aria-label={view.label}>
      <h2>{view.label}</h2>
      {failed ? <p class="message caution">{t("scan.failed")}</p> : <div class="camera-frame"><video class="camera" ref={video} muted playsInline aria-label={t("scan.view")} />{ghost && <img class="ghost" src={ghost} alt="" />}</div>}
      {ghost && <p class="soft">{t("photos.faint")}</p>}
      <div class="row"><button type="button" class="button chart" onClick={onClose}>{t("changed.leave")}</button><button type="button" class="button primary great grow" onClick={take}>{t("photos.shoot")}</button></div>
    </section>
  );
}
