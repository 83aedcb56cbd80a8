/** The one bibliography: key → full reference. Constants and tables name a key and, beside it, the locator. */
export const SOURCES = {
  iec61966:
    'IEC 61966-2-1:1999, Multimedia systems and equipment – Colour measurement and management – Default RGB colour space sRGB',
  itu709:
    'ITU-R BT.709-6 (2015), Parameter values for the HDTV standards for production and international programme exchange',
  cie15: 'CIE 15:2004, Colorimetry, 3rd edition',
  iso7810: 'ISO/IEC 7810:2019, Identification cards – Physical characteristics',
  iso7813: 'ISO/IEC 7813:2006, Information technology – Identification cards – Financial transaction cards',
  floydSteinberg1976:
    'R. W. Floyd, L. Steinberg, An adaptive algorithm for spatial grey scale, Proc. Society for Information Display 17(2) (1976) 75–77',
  pappasNeuhoff1995:
    'T. N. Pappas, D. L. Neuhoff, Printer models and error diffusion, IEEE Trans. Image Processing 4(1) (1995) 66–80',
  commonPractice: 'Common practice in the trade, no source',
} as const satisfies Record<string, string>;

export type SourceKey = keyof typeof SOURCES;
