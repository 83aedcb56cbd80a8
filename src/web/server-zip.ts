import { Readable } from 'node:stream';
import yazl from 'yazl';

/** Files as one archive, without dates of today: the same files give the same bytes. */
export function zipFiles(files: readonly (readonly [path: string, name: string])[]): NodeJS.ReadableStream {
  const archive = new yazl.ZipFile();
  // A file that goes from now on cuts the archive off; without a listener it would end the server.
  archive.on('error', (error) => (archive.outputStream as Readable).destroy(error as Error));
  const options = { mtime: new Date('1980-01-01T00:00:00Z'), compress: false } as const;
  for (const [path, name] of files) archive.addFile(path, name, options);
  archive.end();
  return archive.outputStream;
}

/** @param name of the archive, letters that a head may hold */
export function zipAnswer(stream: NodeJS.ReadableStream, name: string): Response {
  return new Response(Readable.toWeb(Readable.from(stream)) as ReadableStream, {
    headers: { 'content-type': 'application/zip', 'content-disposition': `attachment; filename="${name}"` },
  });
}
