// How the figures of records are said in words and numbers, for both faces alike.
export {
  formatMoney,
  listKnown,
  sayExpectedError,
  sayExposure,
  sayPrediction,
  sayReason,
  sayReserve,
  saySpacing,
} from '../job/index.ts';
