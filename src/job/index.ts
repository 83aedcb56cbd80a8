export { parseAim, warnOfExposures } from './aim.ts';
export { type Chart, type ChartCost, type ChartRequest, type ChartSpec, makeChart, resolveChart } from './charts.ts';
export { type ExpectedError, parseRehearsalErrors, sayExpectedError } from './charts-errors.ts';
export { parseChartLayout } from './charts-layout.ts';
export {
  type Check,
  type CheckOptions,
  checkCapture,
  checkLocated,
  type Drift,
  findOwnProfile,
  judgeDrift,
  toCaptureImage,
} from './check.ts';
export { type DoseReading, readDose } from './check-dose.ts';
export { addToHistory, type DriftHistory, parseHistory } from './check-history.ts';
export { renderMeasuredPage } from './check-measured-page.ts';
export { renderCheckPage } from './check-page.ts';
export { readSpot, type SpotReading } from './check-spot.ts';
export * from './choices.ts';
export * from './compare.ts';
export { compareRuns, type RunCost, type RunsOptions } from './compare-runs.ts';
export { normaliseColumn } from './csv-table.ts';
export {
  doseOf,
  gainByMoreDose,
  recommendSpacingMm,
  recommendStartSpacingMm,
  refuseBeyond,
  refuseWide,
  resolveGrid,
  spotDiameterUm,
  startDoseJPerCm2,
  startSettings,
} from './grid.ts';
export {
  findDisagreements,
  fitCaptures,
  type Learned,
  type LearnOptions,
  type LocatedCapture,
  learnProfile,
  locateCaptures,
  type Measured,
  measureCaptures,
  type NamedCapture,
  type ReadCapture,
  readCaptures,
  readLocated,
  refuseCorners,
} from './learn.ts';
export {
  type MarkBurn,
  type MarksJob,
  type MarksOptions,
  type MarksRequest,
  type MarksSpec,
  type MarksTicket,
  prepareMarks,
  resolveMarks,
  type SeparateBy,
} from './marks.ts';
export {
  type DonePiece,
  filesOfPiece,
  ORDER_SCHEMA,
  type OrderedPiece,
  type OrderFacts,
  type OrderPieceRecord,
  type OrderRecord,
  type PieceFault,
  type PieceSummary,
  recordOrder,
  sayReason,
  summarisePiece,
} from './order.ts';
export { renderOrderCsv } from './order-csv.ts';
export {
  chooseNames,
  findNameFault,
  type OrderCell,
  type OrderRow,
  parseOrderCsv,
  shortenName,
} from './order-list.ts';
export { type OrderPageOptions, renderOrderPage } from './order-page.ts';
export { choosePalette, type PaletteOptions } from './palette.ts';
export { type Picture, takePicture } from './picture.ts';
export { makeJig, makePlates, type PlateOptions, type Plates } from './plate.ts';
export {
  type JobPrice,
  type JobTicket,
  type OrderedJob,
  type PlateJob,
  parseJobTicket,
  parseOrderForPlates,
} from './plate-jobs.ts';
export type { Bed } from './plate-lots.ts';
export { STRIP_ROOM } from './plate-strip.ts';
export type { PlateBurn, PlatePiece, PlatesRecord, PlateTicket } from './plate-ticket.ts';
export * from './preview.ts';
export * from './price.ts';
export { type PriceList, parsePriceList } from './price-list.ts';
export {
  drawFindings,
  type ProfilePageFacts,
  renderProfilePage,
  retitleProfilePage,
  saySpacing,
} from './profile-page.ts';
export * from './proof.ts';
export { sayReserve } from './reserve.ts';
export * from './run.ts';
export {
  analyseScatter,
  nameScatterCause,
  type ScatterAnalysis,
  type ScatterCause,
  type ScatterPart,
} from './scatter.ts';
export * from './spec.ts';
export {
  drawStrip,
  joinStrip,
  layoutStrip,
  makeStrip,
  STRIP_DEFAULTS,
  type Strip,
  type StripFacts,
  type StripOffset,
  type StripSide,
} from './strip.ts';
export * from './ticket.ts';
export * from './ticket-page.ts';
export { type ComparedWay, type CompareTimesOptions, compareWays } from './time-compare.ts';
export { parseTimeReadings, type TimeReading } from './time-readings.ts';
export {
  assessUncertainty,
  BADLY_KNOWN_L,
  type ExposureUncertainty,
  exposureHalf,
  type KnownFact,
  listKnown,
  meanBandHalf,
  measureSpan,
  sayExposure,
  sayExposureBasis,
  type ToneUncertainty,
  type UsableSpan,
  warnOfUncertainty,
} from './uncertainty.ts';
export {
  chooseLimits,
  listVerified,
  readHistory,
  sayPrediction,
  sayVerification,
  type Verification,
  type VerifiedScreen,
  type VerifiedScreens,
  type VerifyResult,
  verifyTones,
} from './verification.ts';
