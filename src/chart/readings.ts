import type { Lab } from '../colour/index.ts';
import type { Notice } from '../notices.ts';
import type { CameraCurve } from './camera.ts';
import type { FoundReference, NeutralReference } from './reference.ts';
import type { PatchSamples } from './samples.ts';
import type { PatchPattern, PatchRole } from './types.ts';

export interface ReadOptions {
  /**
   * `known`: the file's values are sRGB (after its embedded profile was applied). `unknown`: a camera with a contrast
   * curve of its own, estimated from the chart. Or a curve that was estimated before.
   */
  readonly camera?: 'known' | 'unknown' | CameraCurve;
  /** How the material really marks, where that is not what the chart was drawn for. */
  readonly direction?: 'lighter' | 'darker';
  /** A neutral field beside the chart, by which all lightness is counted. */
  readonly reference?: NeutralReference;
}

/** One patch as it was read. */
export interface Reading {
  readonly id: string;
  readonly role: PatchRole;
  readonly group: string;
  readonly pattern: PatchPattern;
  readonly coverage: number;
  /** Linear luminance relative to the bare surface at the same place: bare 1. */
  readonly mean: number;
  /** Colour under the light that the bare surface's colour is given for, D65. */
  readonly colour: Lab;
  /** Standard deviation between blocks of the patch, in the same unit: graininess, not error. */
  readonly spread: number;
  /** Pixels that were read. */
  readonly pixels: number;
  /** Share of the patch left out as scratches or dust. */
  readonly rejectedShare: number;
  readonly xMm: number;
  readonly yMm: number;
  /** Place in the burn order. */
  readonly order: number;
}

export type RejectReason = 'scratch' | 'glare' | 'shadow' | 'clipped' | 'outside' | 'disagrees';

export interface RejectedPatch {
  readonly id: string;
  readonly role: PatchRole;
  readonly reason: RejectReason;
  /** What was found and what was needed, in words. */
  readonly detail: string;
}

export interface Readings {
  /** All patches that can be trusted, every replicate of its own, in burn order. */
  readonly readings: readonly Reading[];
  readonly rejected: readonly RejectedPatch[];
  /** Colour of the bare surface and of the solid as the capture shows them, D65. */
  readonly bare: Lab;
  readonly solid: Lab;
  /** Luminance of solid relative to bare. */
  readonly solidRatio: number;
  /** Whether the mark is lighter or darker than the bare surface, as read. */
  readonly direction: 'lighter' | 'darker';
  /**
   * Standard deviation between replicates of one tone, relative to bare; of the references when nothing is repeated.
   */
  readonly repeatability: number;
  /** Share by which references disagree after levelling, and largest over smallest light on the chart. */
  readonly disagreement: number;
  readonly unevenness: number;
  readonly camera: CameraCurve;
  /** What all lightness was counted by; absent when it is as the capture codes it. */
  readonly reference?: FoundReference;
  /** What a person should know. */
  readonly warnings: readonly Notice[];
}

/** The patches that are left out so far, by their id. */
export type Rejections = ReadonlyMap<string, RejectedPatch>;

/** A sampled patch, left out for a reason. */
export function rejectPatch({ patch }: PatchSamples, reason: RejectReason, detail: string): RejectedPatch {
  return { id: patch.id, role: patch.role, reason, detail };
}

/** With more patches left out; of a patch that is left out already the first reason stands. */
export function addRejections(rejected: Rejections, more: readonly RejectedPatch[]): Rejections {
  const all = new Map(rejected);
  for (const one of more) if (!all.has(one.id)) all.set(one.id, one);
  return all;
}
