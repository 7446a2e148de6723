"""The rows of fruit, vegetables, herbs and their juices in the food table; `row.read` says how they are written."""

from gatewayd.food.row import Food, read

# Our choices: where the data set's figure is for another form (peaches in lemon juice and sugar, 2 months) or missing
# (rhubarb), the extension's one figure of 10 months for all fruit and vegetables; spinach as its greens, since the row
# that forbids it is of salad leaves. Rows of the chart for juices and purees of another fruit count for theirs.
PLANTS: tuple[Food, ...] = read("""
apples|apple slices,cooked apple|produce|8|#248|fruit|fruit|Apples fresh|
apple sauce|apple puree,stewed apple|produce|8-12|#562|fruit|puree|Apples fresh|lc
apricots||produce|10|MU-ext: fruits and vegetables, general|fruit/peaches, apricots, cherries, raw|fruit|Apricots|m
avocados|guacamole|produce|no|#250|fruit|fruit|no|
bananas||produce|2-3|#251|fruit|fruit|Bananas|
blackberries|brambles,dewberries|produce|12|#253|fruit/raspberries, strawberries, raw|fruit|Blackberries|l
blackcurrants|currants,redcurrants|produce|12|#253|fruit|fruit|Currants black|
blueberries||produce|8-12|#254|fruit|fruit|Blueberries|
bilberries|huckleberries,whortleberries|produce|8-12|#254|fruit|fruit|Blueberries|mc
cherries|sweet cherries|produce|8-12|#483|fruit/peaches, apricots, cherries, raw|fruit|Cherries sweet|
sour cherries|morello cherries|produce|8-12|#483|fruit/peaches, apricots, cherries, raw|fruit|Cherries sour|
cranberries||produce|12|#259|fruit|fruit|Cranberries|
lingonberries|cowberries|produce|12|#259|fruit|fruit|Cranberries|mc
elderberries|rowan berries|produce|12|#253|fruit|fruit|Currants black|mc
gooseberries||produce|12|#252|fruit|fruit|Gooseberries|
mixed berries|berries,summer fruit,cloudberries|produce|12|\
  #253|fruit/raspberries, strawberries, raw|fruit|Raspberries|mlc
grapes||produce|1|#261|fruit|fruit|no|
melon|melon balls|produce|1|#264|fruit|fruit|no|
watermelon||produce|12|#495|fruit|fruit|no|
peaches|peach slices|produce|10|\
  MU-ext: fruits and vegetables, general|fruit/peaches, apricots, cherries, raw|fruit|Peaches fresh|m
nectarines||produce|10|\
  MU-ext: fruits and vegetables, general|fruit/peaches, apricots, cherries, raw|fruit|Peaches fresh|mlc
pears|pear slices|produce|10|MU-ext: fruits and vegetables, general|fruit|fruit|Pears|m
plums|damsons,greengages,mirabelles,halved plums|produce|10|MU-ext: fruits and vegetables, general|fruit|fruit|Plums|m
pineapple||produce|10-12|#267|fruit|fruit|no|
raspberries||produce|8-12|#482|fruit/raspberries, strawberries, raw|fruit|Raspberries|
strawberries||produce|8-12|#481|fruit/raspberries, strawberries, raw|fruit|Strawberries|
rhubarb||produce|10|MU-ext: fruits and vegetables, general|fruit|fruit|Rhubarb|m
mango|mango cubes|produce|10|MU-ext: fruits and vegetables, general|fruit|fruit|no|m
figs||produce|10|MU-ext: fruits and vegetables, general|fruit|fruit|no|m
citrus fruit|oranges,lemons,limes,grapefruit|produce|4-6|NCHFP: citrus fruits and juices|fruit|fruit|no|
fruit puree|berry puree,plum puree,fruit compote|produce|8-12|#562|fruit|puree|no|m
apple juice|pressed apple juice|produce|12|#537|juice|fruit_juice|no|l
berry juice|currant juice,fruit juice,elderberry juice|produce|12|#537|juice|fruit_juice|no|ml
lemon juice|lime juice|produce|12|#536|juice|fruit_juice|no|l
orange juice||produce|0.46-0.69|#457|juice|fruit_juice|no|l
juice concentrate|fruit juice concentrate|produce|24|#319|juice/fruit juice concentrate|fruit_juice|no|
carrot juice||produce|12|#538|juice|vegetable_juice|no|l
tomato juice|vegetable juice|produce|12|#538|juice|vegetable_juice|no|ml
artichokes|globe artichokes|produce|no|#270|vegetable|vegetable|Artichokes globe|
asparagus|asparagus spears|produce|5|#271|vegetable/asparagus green|vegetable|Asparagus|
green beans|beans,french beans,runner beans,string beans,snap beans|produce|8|\
  #273|vegetable/beans green|vegetable|Beans snap|
broad beans|fava beans|produce|8|#273|vegetable/beans lima|vegetable|Beans lima|lc
lima beans|butter beans|produce|8|#273|vegetable/beans lima|vegetable|Beans lima|
edamame|soya beans,soybeans|produce|8|#273|vegetable|vegetable|Beans lima|c
peas|green peas,garden peas,shelled peas|produce|8|#273|vegetable/peas green|vegetable|Peas green|
snow peas|mangetout,sugar snap peas|produce|8|#273|vegetable/peas green|vegetable|Peas green|lc
beetroot|beets|produce|6-8|#274|vegetable|vegetable|Beets|
pak choi|bok choy|produce|10-12|#275|vegetable|vegetable|Cabbage|c
broccoli|broccoli florets|produce|10-12|#276|vegetable/broccoli|vegetable|Broccoli|
brussels sprouts|sprouts|produce|10-12|#277|vegetable/brussels sprouts|vegetable|Brussels sprouts|
cabbage|red cabbage,white cabbage,savoy cabbage|produce|10-12|#278|vegetable|vegetable|Cabbage|
carrots|carrot slices|produce|10-12|#279|vegetable/carrots|vegetable|Carrots|
parsnips||produce|10-12|#279|vegetable/carrots|vegetable|Parsnips|l
cauliflower|cauliflower florets|produce|10-12|#280|vegetable/cauliflower|vegetable|Cauliflower|
celery||produce|10-12|#281|vegetable|vegetable|Celery|
celeriac|celery root|produce|10-12|#279|vegetable/carrots|vegetable|Parsnips|mlc
sweetcorn|corn on the cob,corn cobs,corn,maize|produce|8|#282|vegetable/corn on the cob|vegetable|Corn sweet yellow|
sweetcorn kernels|cut corn,corn kernels|produce|8|#282|vegetable/corn cut|vegetable|Corn sweet yellow|m
cucumbers|cucumber|produce|no|#283|vegetable|vegetable|Cucumbers|
aubergines|eggplant|produce|6-8|#284|vegetable|vegetable|Eggplant|
garlic|garlic cloves|produce|1|#285|vegetable|vegetable|Garlic|
ginger|ginger root|produce|6|#286|vegetable|vegetable|no|
greens|chard,collards,mustard greens,beet greens,nettles|produce|10-12|\
  #287|vegetable/spinach chopped|vegetable|Collards|lc
spinach|spinach leaves|produce|10-12|#287|vegetable/spinach chopped|vegetable|Spinach|m
kale|curly kale|produce|8-12|#423|vegetable/spinach chopped|vegetable|Kale|l
kohlrabi||produce|8-12|#494|vegetable|vegetable|Kohlrabi|
leeks||produce|10-12|#289|vegetable/leeks blanched|vegetable|Leeks|
lettuce|salad,salad leaves|produce|no|#290|vegetable|vegetable|no|
mushrooms|chanterelles,ceps,wild mushrooms|produce|10-12|#292|vegetable/mushrooms cultivated|vegetable|Mushrooms|
okra||produce|10-12|#293|vegetable|vegetable|Okra|
onions|shallots|produce|10-12|#294|vegetable/onions|vegetable|Onions|
spring onions|scallions,green onions|produce|10-12|#295|vegetable/onions|vegetable|Onions|lc
peppers|sweet peppers,bell peppers,paprika pods|produce|6-8|\
  #296|vegetable/peppers red and green|vegetable|Peppers sweet green|
chillies|chilli peppers,hot peppers,chilies|produce|9|\
  #548|vegetable/peppers red and green|vegetable|Peppers sweet green|lc
chips|french fries,oven chips,potato wedges|produce|10-18|\
  #331|vegetable/potatoes French fried|vegetable|Potatoes main crop|mc
potatoes|cooked potatoes,roast potatoes|produce|10-12|#297|vegetable|vegetable|Potatoes main crop|
sweet potatoes|yams|produce|10-12|#297|vegetable|vegetable|Sweet potatoes|m
radishes||produce|no|#299|vegetable|vegetable|no|
swede|rutabaga|produce|8-10|#301|vegetable|vegetable|Rutabaga|
turnips||produce|8-10|#307|vegetable|vegetable|Turnip|
summer squash|courgettes,marrow,courgette slices|produce|10-12|#302|vegetable|vegetable|Squash summer|
zucchini|whole courgettes|produce|10|#547|vegetable|vegetable|Squash summer|
pumpkin|winter squash,butternut squash,pumpkin puree|produce|10-12|#303|vegetable|vegetable|Pumpkin|
tomatoes|tomato|produce|10|MU-ext: fruits and vegetables, general|vegetable|vegetable|Tomatoes ripe|m
tomato sauce|passata,tomato puree,sugo|produce|10|\
  MU-ext: fruits and vegetables, general|vegetable|tomato|Tomatoes ripe|mc
mixed vegetables|vegetables,stir fry vegetables|produce|10-18|#331|vegetable|vegetable|Carrots|c
unblanched vegetables|raw vegetables|produce|1-2|NCHFP: unblanched vegetables|vegetable|vegetable|Carrots|c
herbs|basil,dill,chives,coriander,cilantro,mint,tarragon,sage,thyme,herb cubes|produce|1-2|#288|vegetable|herb|no|l
parsley|parsley cubes|produce|3-4|#611|vegetable|herb|Parsley|l
pesto|herbs in oil|produce|1-2|#288|vegetable|pesto|no|ml
""")
