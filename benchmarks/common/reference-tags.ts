import { spawnSync } from 'node:child_process';
import type { Corners, Point } from '../../src/chart/index.ts';
import { PYTHON } from './outside-programs.ts';

/**
 * Python's module of the AprilTag project's own detector (Debian package python3-apriltag), which tags are compared
 * with.
 */
export const REFERENCE_PROBE = ['-c', 'import apriltag'] as const;

export interface ReferenceTag {
  readonly id: number;
  readonly hamming: number;
  /** Corners of the ink in pixels, in the tag's own order: upper left, upper right, lower right, lower left. */
  readonly corners: Corners;
}

const SCRIPT = `
import sys, json, numpy, apriltag
width, height = int(sys.argv[1]), int(sys.argv[2])
image = numpy.frombuffer(sys.stdin.buffer.read(), numpy.uint8).reshape(height, width)
tags = apriltag.apriltag('tag36h11', maxhamming=2).detect(image)
print(json.dumps([{'id': int(t['id']), 'hamming': int(t['hamming']), 'lbrt': t['lb-rb-rt-lt'].tolist()} for t in tags]))
`;

/** Dark tags of family 36h11 that the reference finds in a grey picture, 0 … 255 by row. */
export function findReferenceTags(grey: Uint8Array, width: number, height: number): readonly ReferenceTag[] {
  const { status, stdout, stderr } = spawnSync(PYTHON, ['-c', SCRIPT, String(width), String(height)], { input: grey });
  if (status !== 0) throw new Error(`the reference detector ended with ${status}: ${stderr}`);
  const found = JSON.parse(stdout.toString()) as { id: number; hamming: number; lbrt: [Point, Point, Point, Point] }[];
  return found.map(({ id, hamming, lbrt: [lowerLeft, lowerRight, upperRight, upperLeft] }) => ({
    id,
    hamming,
    corners: [upperLeft, upperRight, lowerRight, lowerLeft],
  }));
}

/** Grey of a capture as it is coded, lighter tags made dark on request. */
export function greyOf(
  { width, height, rgb, bits }: { width: number; height: number; rgb: ArrayLike<number>; bits: 8 | 16 },
  { inverted }: { readonly inverted: boolean },
): Uint8Array {
  const scale = bits === 16 ? 1 / 257 : 1;
  return Uint8Array.from({ length: width * height }, (_, at) => {
    const value = Math.round(scale * (0.299 * rgb[3 * at]! + 0.587 * rgb[3 * at + 1]! + 0.114 * rgb[3 * at + 2]!));
    return inverted ? 255 - value : value;
  });
}
