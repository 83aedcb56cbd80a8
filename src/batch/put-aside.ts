import { closeSync, openSync, readSync, rmSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { explainWriteError, namePartFile } from '../plane/index.ts';

/** Bytes that lie in a file, until they are asked for. */
export interface PutAside {
  readonly read: () => Uint8Array;
}

/**
 * Room for bytes that are asked for when all is done: small pictures of five thousand pieces would fill the memory with
 * 40 MB (benchmarks/soak.ts). One part file in the folder, made with the first bytes, which the next run takes away
 * where the process was ended.
 */
export class AsideFile {
  readonly #path: string;
  #file: number | undefined;
  #length = 0;

  constructor(folder: string) {
    this.#path = join(folder, namePartFile());
  }

  /** @throws AppError path-unwritable */
  put(bytes: Uint8Array): PutAside {
    const at = this.#length;
    // A number for what is returned: whatever it names, it keeps.
    const { length } = bytes;
    try {
      this.#file ??= openSync(this.#path, 'wx+');
      for (let done = 0; done < length; ) {
        done += writeSync(this.#file, bytes, done, length - done, at + done);
      }
    } catch (error) {
      throw explainWriteError(error, this.#path);
    }
    this.#length += length;
    return { read: () => this.#read(at, length) };
  }

  #read(at: number, length: number): Uint8Array {
    if (this.#file === undefined) throw new RangeError('what was put aside is asked for after its file was closed');
    const bytes = new Uint8Array(length);
    for (let done = 0; done < length; ) {
      const read = readSync(this.#file, bytes, done, length - done, at + done);
      if (read === 0) throw new RangeError('the file of what was put aside is shorter than what was put into it');
      done += read;
    }
    return bytes;
  }

  close(): void {
    if (this.#file === undefined) return;
    closeSync(this.#file);
    this.#file = undefined;
    rmSync(this.#path, { force: true });
  }
}
