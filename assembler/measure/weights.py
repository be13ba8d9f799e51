"""Numbers of the cadence model. Written by benchmarks/fit_cadence.py; not to be changed by hand.

Fitted on 42015 pairs of planted clips, 640x360, 60 Hz, 8 bits; pairs of the source that hardly
differ are left out. Ridge penalty 10, chosen by leaving out one source at a time.
Sources: bunny film, coffee pan 1.5, gravel pan 0.3, rocket turn, brick road, made movers, camera pan 6 grain,
motorcycle turn slow.
Coders: x264 medium crf 16, x264 medium crf 20, x264 medium crf 23, x264 medium crf 26, x264 medium crf 30, x264
veryfast crf 23, x264 veryfast crf 30, x265 fast crf 28, x264 veryfast 4 Mb/s.
"""

CENTRE = (
    2.23846,  # max_8x8 log
    2.44827,  # max_8x8 log above 1
    1.34818,  # max_8x8 log above 4
    -0.418459,  # max_8x8 over the larger neighbour
    0.429265,  # max_8x8 over the smaller neighbour
    1.65841,  # max_8x8 over low
    -1.14498,  # max_8x8 over high
    0.493247,  # max_8x8 place
    0.0830119,  # max_8x8 place if apart
    0.0349301,  # max_8x8 near split
    0.0784253,  # max_8x8 near split if apart
    0.277727,  # max_8x8 far split
    0.794661,  # max_8x8 far split if apart
    1.06904,  # max_block log
    1.55381,  # max_block log above 1
    0.683254,  # max_block log above 4
    -0.449047,  # max_block over the larger neighbour
    0.473942,  # max_block over the smaller neighbour
    1.79291,  # max_block over low
    -1.28173,  # max_block over high
    0.492035,  # max_block place
    0.0752515,  # max_block place if apart
    0.0321695,  # max_block near split
    0.0591688,  # max_block near split if apart
    0.223314,  # max_block far split
    0.62714,  # max_block far split if apart
    0.749308,  # top_block log
    1.39521,  # top_block log above 1
    0.555455,  # top_block log above 4
    -0.461887,  # top_block over the larger neighbour
    0.489926,  # top_block over the smaller neighbour
    1.88802,  # top_block over low
    -1.30727,  # top_block over high
    0.492792,  # top_block place
    0.0953007,  # top_block place if apart
    0.0726642,  # top_block near split
    0.18686,  # top_block near split if apart
    0.276058,  # top_block far split
    0.799304,  # top_block far split if apart
    0.320241,  # rms log
    1.05855,  # rms log above 1
    0.286777,  # rms log above 4
    -0.428208,  # rms over the larger neighbour
    0.449857,  # rms over the smaller neighbour
    1.75649,  # rms over low
    -1.20733,  # rms over high
    0.486469,  # rms place
    0.0989386,  # rms place if apart
    -0.0379282,  # rms near split
    -0.159082,  # rms near split if apart
    0.112789,  # rms far split
    0.290908,  # rms far split if apart
    2.38151,  # max_8x8_kept log
    2.54383,  # max_8x8_kept log above 1
    1.3739,  # max_8x8_kept log above 4
    -0.379595,  # max_8x8_kept over the larger neighbour
    0.393152,  # max_8x8_kept over the smaller neighbour
    1.54751,  # max_8x8_kept over low
    -1.08692,  # max_8x8_kept over high
    0.499809,  # max_8x8_kept place
    0.0721255,  # max_8x8_kept place if apart
    0.123636,  # max_8x8_kept near split
    0.32105,  # max_8x8_kept near split if apart
    0.442631,  # max_8x8_kept far split
    1.25678,  # max_8x8_kept far split if apart
    -1.27226,  # small log
    0.230414,  # small log above 1
    0.014498,  # small log above 4
    -0.356683,  # small over the larger neighbour
    0.394592,  # small over the smaller neighbour
    1.47329,  # small over low
    -1.11832,  # small over high
    0.460829,  # small place
    0.0378969,  # small place if apart
    0.0385034,  # small near split
    0.112324,  # small near split if apart
    0.0842079,  # small far split
    0.203413,  # small far split if apart
    0.77473,  # small peak
    -2.23397,  # step of light
    -2.55421,  # step over rms
    -0.336526,  # step over neighbours
    0.345009,  # explained
    0.375444,  # explained top
    -3.29503,  # flow log
    0.156384,  # corr
    0.208897,  # corr if positive
    -2.18283,  # area log
    0.121357,  # share kept
    0.00311793,  # key
    0.00564337,  # key and log
    0.671422,  # explained and log
    3.13962,  # texture log
    -2.015,  # mid over top
)
SPREAD = (
    1.98596,  # max_8x8 log
    1.59204,  # max_8x8 log above 1
    1.22452,  # max_8x8 log above 4
    1.74402,  # max_8x8 over the larger neighbour
    1.82622,  # max_8x8 over the smaller neighbour
    1.75033,  # max_8x8 over low
    1.59683,  # max_8x8 over high
    0.414551,  # max_8x8 place
    1.00785,  # max_8x8 place if apart
    1.75882,  # max_8x8 near split
    5.10996,  # max_8x8 near split if apart
    1.89858,  # max_8x8 far split
    5.55817,  # max_8x8 far split if apart
    2.05829,  # max_block log
    1.35382,  # max_block log above 1
    0.849288,  # max_block log above 4
    1.95714,  # max_block over the larger neighbour
    2.05453,  # max_block over the smaller neighbour
    1.88121,  # max_block over low
    1.74054,  # max_block over high
    0.410627,  # max_block place
    1.03395,  # max_block place if apart
    1.7829,  # max_block near split
    5.22073,  # max_block near split if apart
    1.91314,  # max_block far split
    5.62559,  # max_block far split if apart
    2.19138,  # top_block log
    1.27451,  # top_block log above 1
    0.770849,  # top_block log above 4
    2.07988,  # top_block over the larger neighbour
    2.19255,  # top_block over the smaller neighbour
    2.03421,  # top_block over low
    1.86508,  # top_block over high
    0.41951,  # top_block place
    1.05172,  # top_block place if apart
    1.86216,  # top_block near split
    5.4752,  # top_block near split if apart
    1.99919,  # top_block far split
    5.90061,  # top_block far split if apart
    1.9933,  # rms log
    1.01929,  # rms log above 1
    0.52128,  # rms log above 4
    1.96954,  # rms over the larger neighbour
    2.06822,  # rms over the smaller neighbour
    1.86914,  # rms over low
    1.72715,  # rms over high
    0.420681,  # rms place
    1.04173,  # rms place if apart
    1.74917,  # rms near split
    5.12123,  # rms near split if apart
    1.88255,  # rms far split
    5.5304,  # rms far split if apart
    1.8423,  # max_8x8_kept log
    1.50052,  # max_8x8_kept log above 1
    1.20613,  # max_8x8_kept log above 4
    1.70417,  # max_8x8_kept over the larger neighbour
    1.79454,  # max_8x8_kept over the smaller neighbour
    1.62125,  # max_8x8_kept over low
    1.52917,  # max_8x8_kept over high
    0.406458,  # max_8x8_kept place
    0.96444,  # max_8x8_kept place if apart
    1.58818,  # max_8x8_kept near split
    4.56289,  # max_8x8_kept near split if apart
    1.69487,  # max_8x8_kept far split
    4.90054,  # max_8x8_kept far split if apart
    1.65613,  # small log
    0.486204,  # small log above 1
    0.101731,  # small log above 4
    1.81685,  # small over the larger neighbour
    1.87831,  # small over the smaller neighbour
    1.61413,  # small over low
    1.58486,  # small over high
    0.408331,  # small place
    0.965991,  # small place if apart
    1.45708,  # small near split
    4.1096,  # small near split if apart
    1.71037,  # small far split
    4.89988,  # small far split if apart
    2.12436,  # small peak
    1.31892,  # step of light
    1.5282,  # step over rms
    1.3743,  # step over neighbours
    0.257431,  # explained
    0.294616,  # explained top
    1.7108,  # flow log
    0.371279,  # corr
    0.300012,  # corr if positive
    2.47854,  # area log
    0.17379,  # share kept
    0.0557523,  # key
    0.106,  # key and log
    0.654552,  # explained and log
    0.953184,  # texture log
    1.4364,  # mid over top
)
WEIGHTS = (
    0.353002,  # max_8x8 log
    0.438923,  # max_8x8 log above 1
    0.497117,  # max_8x8 log above 4
    1.02862,  # max_8x8 over the larger neighbour
    0.751002,  # max_8x8 over the smaller neighbour
    0.102457,  # max_8x8 over low
    -0.0777294,  # max_8x8 over high
    0.32466,  # max_8x8 place
    0.221727,  # max_8x8 place if apart
    0.0287995,  # max_8x8 near split
    -0.0798837,  # max_8x8 near split if apart
    0.398726,  # max_8x8 far split
    0.175774,  # max_8x8 far split if apart
    0.222529,  # max_block log
    0.296417,  # max_block log above 1
    0.17473,  # max_block log above 4
    0.658011,  # max_block over the larger neighbour
    0.332598,  # max_block over the smaller neighbour
    0.225342,  # max_block over low
    -0.290431,  # max_block over high
    0.0179116,  # max_block place
    0.174354,  # max_block place if apart
    -0.0506628,  # max_block near split
    -0.155219,  # max_block near split if apart
    0.053792,  # max_block far split
    -0.196601,  # max_block far split if apart
    0.202958,  # top_block log
    0.338031,  # top_block log above 1
    0.283696,  # top_block log above 4
    0.785726,  # top_block over the larger neighbour
    0.0482675,  # top_block over the smaller neighbour
    -0.135508,  # top_block over low
    -0.28727,  # top_block over high
    -0.0583914,  # top_block place
    0.202766,  # top_block place if apart
    -0.001585,  # top_block near split
    -0.183927,  # top_block near split if apart
    -0.185548,  # top_block far split
    -0.335621,  # top_block far split if apart
    0.705568,  # rms log
    1.31697,  # rms log above 1
    0.0108995,  # rms log above 4
    0.677115,  # rms over the larger neighbour
    -0.0754283,  # rms over the smaller neighbour
    -0.0308308,  # rms over low
    -0.168449,  # rms over high
    -0.142476,  # rms place
    0.106044,  # rms place if apart
    0.141767,  # rms near split
    0.0656169,  # rms near split if apart
    0.124477,  # rms far split
    0.00476956,  # rms far split if apart
    0.168211,  # max_8x8_kept log
    0.205748,  # max_8x8_kept log above 1
    0.228794,  # max_8x8_kept log above 4
    0.818009,  # max_8x8_kept over the larger neighbour
    0.92239,  # max_8x8_kept over the smaller neighbour
    -0.375489,  # max_8x8_kept over low
    -0.0263963,  # max_8x8_kept over high
    0.233006,  # max_8x8_kept place
    0.0881102,  # max_8x8_kept place if apart
    0.0462603,  # max_8x8_kept near split
    0.046075,  # max_8x8_kept near split if apart
    -0.0206409,  # max_8x8_kept far split
    -0.187269,  # max_8x8_kept far split if apart
    0.243701,  # small log
    0.733184,  # small log above 1
    0.00310567,  # small log above 4
    0.534389,  # small over the larger neighbour
    0.157486,  # small over the smaller neighbour
    0.342039,  # small over low
    -0.0370401,  # small over high
    -0.0213038,  # small place
    0.166583,  # small place if apart
    0.149757,  # small near split
    0.131306,  # small near split if apart
    0.180027,  # small far split
    0.0806832,  # small far split if apart
    0.237549,  # small peak
    0.196737,  # step of light
    -0.75051,  # step over rms
    0.140876,  # step over neighbours
    0.593394,  # explained
    0.366485,  # explained top
    0.378933,  # flow log
    0.321251,  # corr
    0.275723,  # corr if positive
    0.0319486,  # area log
    0.0331677,  # share kept
    0.116711,  # key
    -0.409042,  # key and log
    0.291307,  # explained and log
    0.33443,  # texture log
    0.0636138,  # mid over top
)
BIAS = 0.767835
