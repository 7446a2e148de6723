"""The rows of meat, game, poultry and fish in the food table; `row.read` says how they are written."""

from gatewayd.food.row import Food, read

# Our choices: game ages and is judged like the farmed meat or bird nearest to it, fishes that no chart names like the
# fatty ones, which keep for less; sausages after the chart's derived row of cured meats. All err to the shorter time.
FLESH: tuple[Food, ...] = read("""
venison steaks|venison,deer,roe deer,deer steaks,deer meat,venison loin|meat|4-12|\
  #76|red_meat/beef steaks and cuts|meat|Beef sirloin lean|mlvc
venison roast|deer roast,haunch of venison,venison haunch,venison leg|meat|4-12|\
  #76|red_meat/beef steaks and cuts|meat|Beef sirloin lean|lvc
venison mince|ground venison,minced venison,deer mince,venison burgers|meat|3-4|\
  FDA-chart: hamburger and stew meat|ground_meat/beef ground|meat|Beef sirloin lean|mlvc
venison stew meat|diced venison,venison cubes,stewing venison|meat|3-4|\
  FDA-chart: hamburger and stew meat|red_meat/beef steaks and cuts|meat|Beef sirloin lean|mlvc
venison sausages|deer sausages|meat|1-2|#102|cured_meat|cured|no|ml
venison liver|deer liver|meat|3-4|#77|offal/liver|offal|Beef liver|c
elk|elk steaks,wapiti|meat|8-12|\
  FSIS-freezing: wild game, uncooked|red_meat/beef steaks and cuts|meat|Beef sirloin lean|lvc
moose|moose steaks,moose meat|meat|8-12|\
  FSIS-freezing: wild game, uncooked|red_meat/beef steaks and cuts|meat|Beef sirloin lean|lvc
wild boar|boar,wild pig,boar meat|meat|8-12|\
  FSIS-freezing: wild game, uncooked|red_meat/pork carcass or cuts|meat|Pork shoulder whole lean|lvc
bison|buffalo,bison steaks|meat|6-9|#621|red_meat/beef steaks and cuts|meat|Beef sirloin lean|lvc
bison mince|ground bison,ground buffalo|meat|3-4|#622|ground_meat/beef ground|meat|Beef sirloin lean|lvc
rabbit|wild rabbit|meat|9|#595|red_meat|meat|no|lv
hare||meat|9|#595|red_meat|meat|no|mlv
pheasant|pheasants|meat|6|#126|poultry|poultry|Chicken|lvc
partridge|partridges|meat|6|#126|poultry|poultry|Chicken|mlvc
grouse|black grouse,ptarmigan|meat|6|#126|poultry|poultry|Chicken|mlvc
quail|quails|meat|6|#127|poultry|poultry|Chicken|lvc
pigeon|wood pigeon,dove,squab|meat|6|#127|poultry|poultry|Chicken|mlvc
duck|wild duck,mallard,duckling,duck breast|meat|6|#123|poultry/duck, goose whole|poultry|Duck|
goose|wild goose|meat|6|#125|poultry/duck, goose whole|poultry|Duck|c
beef steaks|steak,beef,sirloin,sirloin steak,rump steak|meat|4-12|\
  #40|red_meat/beef steaks and cuts|meat|Beef sirloin lean|
beef roast|roast beef joint,brisket,beef joint,chuck roast|meat|4-12|\
  #39|red_meat/beef steaks and cuts|meat|Beef sirloin lean|
rib of beef|rib roast,beef rib roast|meat|4-12|#34|red_meat/beef steaks and cuts|meat|Beef T-bone lean|c
beef short ribs|short ribs|meat|4-12|#42|red_meat/beef steaks and cuts|meat|Beef carcass choice|c
stewing beef|diced beef,beef stew meat,braising steak,goulash meat|meat|4-12|\
  #41|red_meat/beef steaks and cuts|meat|Beef sirloin lean|c
beef mince|ground beef,minced beef,mince,hamburger,beef burgers,burgers,minced meat|meat|3-4|\
  #43|ground_meat/beef ground|meat|Beef carcass select|c
corned beef|salt beef|meat|1|#81|cured_meat|cured|no|
veal|veal roast,veal cutlets,veal steaks,schnitzel|meat|4-12|#56|red_meat/veal carcass or cuts|meat|Veal lean|
veal mince|ground veal,minced veal|meat|3-4|#59|ground_meat/beef ground|meat|Veal lean|l
leg of lamb|lamb,lamb leg,lamb roast,lamb shoulder|meat|4-12|#44|red_meat/lamb steaks|meat|Lamb composite of cuts lean|
lamb chops|lamb cutlets,rack of lamb,lamb ribs|meat|4-12|#51|red_meat/lamb steaks|meat|Lamb composite of cuts lean|
stewing lamb|diced lamb,lamb stew meat|meat|4-12|#53|red_meat/lamb steaks|meat|Lamb composite of cuts lean|
lamb mince|ground lamb,minced lamb|meat|3-4|#50|ground_meat/beef ground|meat|Lamb composite of cuts lean|l
mutton|hogget|meat|4-12|#44|red_meat/lamb steaks|meat|Lamb composite of cuts lean|mc
goat meat|goat,kid goat,stewing goat|meat|4-12|#71|red_meat/lamb steaks|meat|Lamb composite of cuts lean|lvc
goat mince|ground goat|meat|3-4|#78|ground_meat/beef ground|meat|Lamb composite of cuts lean|lvc
pork roast|pork,pork joint,pork loin|meat|4-12|#60|red_meat/pork carcass or cuts|meat|Pork shoulder whole lean|c
pork chops|pork steaks,pork cutlets|meat|4-6|\
  FDA-chart: chops|red_meat/pork carcass or cuts|meat|Pork shoulder whole lean|c
pork fillet|pork tenderloin|meat|4-12|#67|red_meat/pork carcass or cuts|meat|Pork shoulder whole lean|c
pork ribs|spare ribs,ribs|meat|4-12|#72|red_meat/pork carcass or cuts|meat|Pork carcass|c
pork shoulder|pork neck,pulled pork joint|meat|4-12|#74|red_meat/pork carcass or cuts|meat|Pork shoulder whole lean|
pork belly|belly pork|meat|4-12|#74|red_meat/pork carcass or cuts|meat|Pork carcass|mc
diced pork|pork cubes,stewing pork|meat|4-12|#75|red_meat/pork carcass or cuts|meat|Pork shoulder whole lean|
pork mince|ground pork,minced pork|meat|3-4|#73|ground_meat/beef ground|meat|Pork shoulder whole lean|lc
liver|calf liver,beef liver,pork liver,chicken livers|meat|3-4|#77|offal/liver|offal|Beef liver|
offal|kidneys,hearts,tongue,tripe,chitterlings|meat|3-4|#77|offal/liver|offal|Beef liver|mlc
giblets|chicken giblets,turkey giblets|meat|3-4|#130|offal/liver|offal|no|l
bacon|rashers,streaky bacon,back bacon|meat|1|#79|cured_meat/bacon sliced vacuum packed|cured|Pork bacon|
ham|gammon,cooked ham,ham joint|meat|1-2|#83|cured_meat|cured|Ham cured whole lean|
sausages|pork sausages,sausage meat,breakfast sausages,bangers|meat|1-2|#102|cured_meat/pork sausage|cured|no|
smoked sausages|kielbasa,cooked sausages|meat|1-2|#103|cured_meat|cured|no|
hot dogs|frankfurters,wieners|meat|1-2|#98|cured_meat|cured|no|
salami|pepperoni,dry sausage|meat|1-2|#104|cured_meat|cured|no|
chorizo||meat|1-2|#631|cured_meat|cured|no|
bratwurst|brats|meat|2-3|#638|cured_meat/pork sausage|cured|no|
kebabs|kabobs,shashlik,meat skewers|meat|3-4|#106|red_meat|meat|no|
chicken|whole chicken,roasting chicken,hen|meat|12|#113|poultry/chicken whole or parts|poultry|Chicken|
chicken breasts|chicken fillets,chicken pieces|meat|9|#116|poultry/chicken whole or parts|poultry|Chicken|
chicken legs|chicken thighs,chicken drumsticks,drumsticks,chicken wings|meat|9|\
  #118|poultry/chicken whole or parts|poultry|Chicken|
chicken mince|ground chicken,minced chicken|meat|3-4|#115|ground_meat|poultry|Chicken|lc
turkey|whole turkey|meat|12|#114|poultry/turkey whole|poultry|Turkey|
turkey breast|turkey fillets|meat|9|#119|poultry/turkey whole|poultry|Turkey|l
turkey legs|turkey thighs,turkey drumsticks|meat|9|#121|poultry/turkey whole|poultry|Turkey|l
turkey mince|ground turkey,minced turkey|meat|3-4|#115|ground_meat|poultry|Turkey|lc
capon||meat|12|#128|poultry/chicken whole or parts|poultry|Chicken|l
poussin|cornish hens,spring chicken|meat|12|#129|poultry/chicken whole or parts|poultry|Chicken|lc
cooked chicken|cooked turkey,roast chicken,cooked poultry,roast turkey|meat|4|\
  FDA-chart: cooked poultry pieces plain|poultry|stew|no|lv
fried chicken|chicken nuggets,breaded chicken|meat|4|#136|poultry|stew|no|lv
cod|cod fillets|meat|6-8|#144|fish_lean/fish lean|fish|Cod|
haddock|haddock fillets|meat|6-8|#144|fish_lean/fish lean|fish|Haddock|
halibut||meat|6-8|#144|fish_lean/fish lean|fish|Halibut|
flatfish|flounder,sole,plaice,dab|meat|6-8|#144|fish_lean/flatfish|fish|Halibut|c
pollock|coley,saithe|meat|4-8|#145|fish_lean/fish lean|fish|Pollock Atlantic|
perch|ocean perch,rockfish,redfish|meat|4-8|#145|fish_lean/fish lean|fish|Perch|
pike|zander,pikeperch,walleye|meat|4-8|#145|fish_lean/fish lean|fish|Perch|mlc
white fish|fish,fish fillets,fillets of fish|meat|4-8|#145|fish_lean/fish lean|fish|Cod|mc
sea trout||meat|4-8|#145|fish_lean/fish lean|fish|Salmon pink|lc
trout|brown trout,rainbow trout,lake trout,trout fillets|meat|2-3|#146|fish_fatty/fish fatty glazed|fish|Salmon pink|mlc
salmon|salmon fillets,salmon steaks|meat|2-3|#146|fish_fatty/fish fatty glazed|fish|Salmon pink|
mackerel|mackerel fillets|meat|2-3|#146|fish_fatty/fish fatty glazed|fish|Mackerel Atlantic|
herring|sprats,sardines|meat|2-3|#146|fish_fatty/herring gutted|fish|Mackerel Atlantic|mc
tuna|tuna steaks|meat|2-3|#146|fish_fatty/fish fatty glazed|fish|no|
catfish|bluefish,mullet|meat|2-3|#146|fish_fatty/fish fatty glazed|fish|no|
carp|bream,tench|meat|2-3|#146|fish_fatty/fish fatty glazed|fish|no|ml
eel||meat|2-3|#146|fish_fatty/fish fatty glazed|fish|no|ml
smoked fish|smoked salmon,smoked trout,smoked mackerel,kippers|meat|2|FDA-chart: smoked fish|fish_fatty|fish|no|lv
cooked fish|fish cakes,fried fish|meat|1-2|#148|fish|fish|no|
fish fingers|fish sticks,breaded fish|meat|3-4|FSIS-freezing: frozen dinners and entrees|fish_lean|fish|no|ml
prawns|shrimp,shrimps,crayfish,langoustines|meat|6-18|#151|shellfish/lobster crab shrimp in shell cooked|fish|no|l
scallops||meat|6-18|#150|shellfish|fish|no|
squid|calamari,octopus|meat|6-18|#152|shellfish|fish|no|
mussels|clams,oysters,shellfish|meat|3-4|#153|shellfish/clams and oysters|fish|no|
crab meat|crab|meat|2-4|#154|shellfish/lobster crab shrimp in shell cooked|fish|no|
crab legs||meat|9-12|#156|shellfish/lobster crab shrimp in shell cooked|fish|no|
lobster|lobster tails|meat|8|#320|shellfish/lobster crab shrimp in shell cooked|fish|no|
surimi|crab sticks|meat|9|#149|fish|fish|no|
""")
