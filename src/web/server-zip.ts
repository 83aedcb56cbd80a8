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

/** What it is called is said by the link that asks for it: names may have letters that a head cannot hold. */
export function zipAnswer(stream: NodeJS.ReadableStream): Response {
  return new Response(Readable.toWeb(Readable.from(stream)) as ReadableStream, {
    headers: { 'content-type': 'application/zip', 'content-disposition': 'attachment' },
  });
}
