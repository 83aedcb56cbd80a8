import { existsSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';
import { farFaces, nearFaces } from './faces.ts';
import { type Network, readNetwork } from './network.ts';

/**
 * Models that may be installed along with Tonewright (Apache-2.0), from the packages in which they were published. They
 * are read when the first photo asks for them, and kept.
 */
const FILES = {
  near: ['@mediapipe/face_detection', 'face_detection_short_range.tflite'],
  far: ['@mediapipe/face_detection', 'face_detection_full_range.tflite'],
  people: ['@mediapipe/selfie_segmentation', 'selfie_segmentation.tflite'],
} as const;

export interface SubjectModels {
  /** Faces at most 2 m from the camera. */
  readonly near: ReturnType<typeof nearFaces>;
  /** Faces at most 5 m from the camera. */
  readonly far: ReturnType<typeof farFaces>;
  /** Share of each pixel that is of a person near the camera. */
  readonly people: Network;
}

let known: SubjectModels | null | undefined;

/** @returns undefined where the packages are not installed */
export function loadModels(): SubjectModels | undefined {
  known ??= readModels() ?? null;
  return known ?? undefined;
}

function readModels(): SubjectModels | undefined {
  const [near, far, people] = [FILES.near, FILES.far, FILES.people].map((file) => {
    const path = findFile(file);
    return path === undefined ? undefined : readNetwork(readFileSync(path), file[1]);
  });
  if (!near || !far || !people) return undefined;
  return { near: nearFaces(near), far: farFaces(far), people };
}

function findFile([name, file]: readonly [string, string]): string | undefined {
  try {
    const path = join(dirname(createRequire(import.meta.url).resolve(`${name}/package.json`)), file);
    return existsSync(path) ? path : undefined;
  } catch {
    return undefined;
  }
}
