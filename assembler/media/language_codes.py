"""The three letters by which MP4 files name a language, from a BCP 47 tag."""

from __future__ import annotations

# ISO 639-1 and, joined to it, ISO 639-2/T.
_THREE = """
aaaar ababk aeave afafr akaka amamh anarg arara asasm avava ayaym azaze babak bebel bgbul bhbih bibis bmbam bnben
bobod brbre bsbos cacat ceche chcha cocos crcre csces cuchu cvchv cycym dadan dedeu dvdiv dzdzo eeewe elell eneng
eoepo esspa etest eueus fafas ffful fifin fjfij fofao frfra fyfry gagle gdgla glglg gngrn guguj gvglv hahau heheb
hihin hohmo hrhrv hthat huhun hyhye hzher iaina idind ieile igibo iiiii ikipk ioido isisl itita iuiku jajpn jvjav
kakat kgkon kikik kjkua kkkaz klkal kmkhm knkan kokor krkau kskas kukur kvkom kwcor kykir lalat lbltz lglug lilim
lnlin lolao ltlit lulub lvlav mgmlg mhmah mimri mkmkd mlmal mnmon mrmar msmsa mtmlt mymya nanau nbnob ndnde nenep
ngndo nlnld nnnno nonor nrnbl nvnav nynya ococi ojoji omorm orori ososs papan pipli plpol pspus ptpor quque rmroh
rnrun roron rurus rwkin sasan scsrd sdsnd sesme sgsag sisin skslk slslv smsmo snsna sosom sqsqi srsrp ssssw stsot
susun svswe swswa tatam tetel tgtgk ththa titir tktuk tltgl tntsn toton trtur tstso tttat twtwi tytah uguig ukukr
ururd uzuzb veven vivie vovol wawln wowol xhxho yiyid yoyor zazha zhzho zuzul
"""
_CODES = {pair[:2]: pair[2:] for pair in _THREE.split()}
UNKNOWN = "und"


def three_letters(language: str) -> str:
    """ISO 639-2/T of a BCP 47 tag such as en, de-AT or gsw; `und` where there is none."""
    first = language.replace("_", "-").split("-")[0].lower()
    if len(first) == 3 and first.isascii() and first.isalpha():
        return first
    return _CODES.get(first, UNKNOWN)
