import { AppError, type ErrorCode } from '../errors.ts';
import { type Job, type JobSpec, type PieceFault, prepareJob, type Ticket } from '../job/index.ts';
import { decodePhoto, sha256, shrinkToJpeg, wholeBytes } from '../plane/index.ts';
import { readPhotoBytes } from './read-photo.ts';

/**
 * Pixels and quality (0 … 100, as a share in percent) of the small proofs on the contact sheet. Assumed: sharp at the
 * width of a third of a page, printed.
 */
const SMALL_PROOF = { maxSide: 480, quality: 80 } as const;

/** All that making a piece needs; plain data, so that it may go to a thread or to another machine. */
export interface PieceTask {
  /** Name of the job and its files. */
  readonly name: string;
  /** The photo's file name, for the ticket. */
  readonly photoFile: string;
  /** The photo as the order names it, for messages. */
  readonly label: string;
  readonly spec: JobSpec;
  readonly version: string;
}

/** The photo of a task: where it lies, or its bytes. */
export type PhotoSource = { readonly path: string } | { readonly bytes: Uint8Array };

export interface MadeFile {
  readonly name: string;
  readonly bytes: Uint8Array;
  readonly sha256: string;
}

/** What becomes of a task. An error travels as data: its class does not survive the way between threads. */
export type PieceResult =
  | {
      readonly made: true;
      /** In the order in which they are to be written. */
      readonly files: readonly MadeFile[];
      readonly ticket: Ticket;
      /** The proof as a small JPEG. */
      readonly smallProof: Uint8Array;
      /** SHA-256 of the photo that was used. */
      readonly photoSha256: string;
      /** Layout of a control strip, for the shop to keep. */
      readonly stripLayout: Job['stripLayout'];
    }
  | { readonly made: false; readonly fault: PieceFault };

/** Makes one piece as `prepare` makes it. Never throws: what is wrong with the photo comes back as a fault. */
export async function makePiece({
  task,
  photo,
}: {
  readonly task: PieceTask;
  readonly photo: PhotoSource;
}): Promise<PieceResult> {
  const { name, photoFile, label, spec, version } = task;
  try {
    const load = async () =>
      decodePhoto(
        'path' in photo
          ? await readPhotoBytes(photo.path, { label })
          : Buffer.from(photo.bytes.buffer, photo.bytes.byteOffset, photo.bytes.length),
        label,
      );
    const job = await prepareJob(load, { spec, name, photoFile, version, only: 'everything' });
    const files = job.files.map(({ name: file, bytes: content }) => {
      const bytes = wholeBytes(content);
      return { name: file, bytes, sha256: sha256(bytes) };
    });
    const ticket = job.ticket!;
    return {
      made: true,
      files,
      ticket,
      smallProof: await shrinkProof(files.find((file) => file.name === `${name}.proof.png`)!.bytes),
      photoSha256: ticket.photo.sha256,
      stripLayout: job.stripLayout,
    };
  } catch (error) {
    return { made: false, fault: describeFault(error) };
  }
}

/** The proof as the contact sheet shows it. */
export function shrinkProof(png: Uint8Array): Promise<Uint8Array> {
  return shrinkToJpeg(png, SMALL_PROOF);
}

export function describeFault(error: unknown): PieceFault {
  if (error instanceof AppError) return { code: error.code as ErrorCode, message: error.message };
  const { name, message } = error instanceof Error ? error : { name: 'Error', message: String(error) };
  return { code: 'bug', message: `a bug in Tonewright, not in the photo (${name}: ${message})` };
}
