import { describe, expect, test } from 'vitest';
import { readArtwork } from '../../src/caption/index.ts';
import { drawSvg } from '../../src/plane/index.ts';

const wrap = (inner: string, root = 'viewBox="0 0 20 10"') =>
  `<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" ${root}>${inner}</svg>`;

describe('a drawing', () => {
  test.each([
    [wrap('<script>1</script>'), /a script/],
    [wrap('<path d="M0 0" onload="x()"/>'), /a script/],
    [wrap('<text>Mia</text>'), /letters turned into curves/],
    [wrap('<s:text xmlns:s="http://www.w3.org/2000/svg">Mia</s:text>'), /letters turned into curves/],
    [wrap('<image href="data:image/png;base64,AA"/>'), /picture of pixels/],
    [wrap('<use xlink:href="http://example.org/a.svg#b"/>'), /outside the file/],
    [wrap('<use href="&#104;ttp://example.org/a.svg#b"/>'), /outside the file/],
    [wrap('<path fill="url(http://example.org/a#b)" d="M0 0"/>'), /outside the file/],
    [wrap('<style><![CDATA[@import "a.css";]]></style>'), /outside the file/],
    [wrap('<filter id="f"/>'), /effect of pixels/],
    [wrap('<foreignObject/>'), /no SVG/],
    ['<!DOCTYPE svg [<!ENTITY a "b">]><svg viewBox="0 0 1 1"/>', /entities/],
    ['<?xml-stylesheet href="a.css"?><svg viewBox="0 0 1 1"/>', /style sheet/],
    ['<html></html>', /outermost part/],
    ['GIF89a', /no drawing/],
    ['\uFFFDPNG\r\n\x1a\n\0\0\0\rIHDR<Ny>', /picture of pixels, needed an SVG/],
    [wrap('', ''), /neither a viewBox/],
    [wrap('', 'viewBox="0 0 1 900"'), /sides of/],
  ])('%j is refused', (svg, message) => {
    expect(() => readArtwork(svg, 'logo.svg')).toThrow(expect.objectContaining({ code: 'artwork-unusable' }));
    expect(() => readArtwork(svg, 'logo.svg')).toThrow(message);
  });

  test('tells its own size, and keeps its shape at parts of dots that are not square', async () => {
    const inner = '<rect x="5" width="10" height="10"/><use href="#a"/><g id="a" fill="url(#b)"/>';
    const artwork = readArtwork(wrap(inner, 'viewBox="0 0 20 10" width="4cm" height="20mm"'), 'logo.svg');
    expect(artwork).toMatchObject({ aspect: 2, widthMm: 40 });
    const { width, height, grey } = await drawSvg(artwork.atSize(80, 120), 'logo.svg');
    expect([width, height]).toEqual([80, 120]);
    const dark = Array.from({ length: 80 }, (_, x) => grey[60 * 80 + x]! < 128);
    expect([dark.indexOf(true), dark.lastIndexOf(true)]).toEqual([20, 59]);
  });

  test('of another shape than its box is drawn as it says itself: in the middle, not stretched', async () => {
    const artwork = readArtwork(
      wrap('<rect width="20" height="10"/>', 'viewBox="0 0 20 10" width="10" height="10"'),
      'a',
    );
    const { grey } = await drawSvg(artwork.atSize(40, 40), 'a');
    const dark = Array.from({ length: 40 }, (_, y) => grey[y * 40 + 20]! < 128);
    expect([dark.indexOf(true), dark.lastIndexOf(true)]).toEqual([10, 29]);
  });
});
