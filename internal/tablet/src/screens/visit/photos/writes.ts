// Taking a photograph: the picture is drawn anew from the camera, so that no metadata comes with it, kept as a blob, and described in a record.

import type { Contraction, Photo, PhotoView, Side } from "../../../messages";
import type { PhotoStore } from "../../photoStore";
import { act } from "../record";
import type { Visit } from "../useVisit";

const contractionOf: Readonly<Record<string, Contraction>> = { contracted: "CONTRACTION_CONTRACTED", smiling: "CONTRACTION_SMILING", lower_teeth: "CONTRACTION_LOWER_TEETH" };

const sideOf = (code: string): Side | undefined => (code.startsWith("right") ? "SIDE_RIGHT" : code.startsWith("left") ? "SIDE_LEFT" : undefined);

/** jpeg is the camera's picture as a JPEG. */
function jpeg(video: HTMLVideoElement): Promise<{ blob: Blob; width: number; height: number }> {
  const canvas = document.createElement("canvas");
  canvas.width = video.videoWidth;
  canvas.height = video.videoHeight;
  canvas.getContext("2d")!.drawImage(video, 0, 0);
  return new Promise((resolve, reject) => canvas.toBlob((blob) => (blob ? resolve({ blob, width: canvas.width, height: canvas.height }) : reject(new Error("the camera gave no picture"))), "image/jpeg", 0.9));
}

/** writePhoto keeps the picture and writes its record and its place in the visit. */
export async function writePhoto(visit: Visit, store: PhotoStore, view: PhotoView, video: HTMLVideoElement, compared: string | undefined): Promise<void> {
  const { core, session } = visit;
  const { blob, width, height } = await jpeg(video);
  const kept = await store.keepPhoto(blob);
  const id = core.newId(), element = core.newId(), side = sideOf(view.code ?? "");
  const photo: Photo = { id, patient_id: session.patient_id!, session_id: session.id!, ...(session.clinic_id ? { clinic_id: session.clinic_id } : {}),
    image: { sha256: kept.sha256, size_bytes: kept.size_bytes, media_type: "image/jpeg", width_pixels: width, height_pixels: height },
    view: { view: view.code!, region: view.region!, contraction: contractionOf[view.expression ?? ""] ?? "CONTRACTION_AT_REST", ...(side ? { side } : {}) },
    taken: act(core.person.value.staff_id), ...(compared ? { compared_photo_id: compared } : {}) };
  await core.edit({ record: { photo }, update_mask: ["patient_id", "session_id", ...(session.clinic_id ? ["clinic_id"] : []), "image", "view", "taken", ...(compared ? ["compared_photo_id"] : [])] });
  await core.edit({ record: { session: { id: session.id!, photos: [{ id: element, photo_id: id }] } }, update_mask: [`photos[${element}]`], ...(visit.view.context ? { context: visit.view.context } : {}) });
}
