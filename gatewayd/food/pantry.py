"""The rows of bread, dough, nuts, dairy, dishes and stock in the food table; `row.read` says how they are written."""

from gatewayd.food.row import Food, read

# Our choices: a cooked dish ages like minced meat, the shortest of the lives that its parts have, and keeps as long as
# the nearest dish of a chart. What holds milk, egg or meat is judged by the chart's row that discards when warm. "Cake"
# and "cheese" alone are left out: which of their rows holds must be asked.
PANTRY: tuple[Food, ...] = read("""
bread|loaf,loaves,white bread,sliced bread,shop bread,rye bread|bread|3-5|#195|bread/bread|bread|Bread white|
homemade bread|wholemeal bread,home-baked bread,whole wheat bread|bread|3|#460|bread/bread|bread|Bread white|c
bread rolls|rolls,buns,baguettes,baps|bread|3-5|#195|bread/bread|bread|Bread white|
flat bread|pita,pitta,naan,flatbread,focaccia|bread|3-5|#195|bread/bread|bread|Bread white|
tortillas|wraps|bread|6|#196|bread/bread|bread|Bread white|c
breadcrumbs||bread|3-5|#195|bread/bread|bread|Bread white|mc
bagels|crumpets,english muffins|bread|3-5|#195|bread/bread|breakfast|Bread white|mc
croissants|danish pastries,brioche|bread|3-5|#195|bread/bread|bread|Bread white|mvc
pancakes|waffles,crepes,blinis|bread|6|#197|bread/bread|breakfast|no|ml
plain cake|sponge cake,pound cake|bread|6|#197|baked/cakes|bread|no|
muffins|cupcakes,scones|bread|6|#197|baked/cakes|bread|no|l
fruit cake|christmas cake|bread|12|#203|baked/cakes|bread|no|
cheesecake||bread|3-6|#198|baked/cakes|cheesecake|no|l
cream cake|custard tart,cream pie,custard cake,gateau,cake with cream|bread|2-3|#211|baked/cakes|custard|no|ml
fruit pie|apple pie,cherry pie,berry pie,fruit crumble,apple crumble|bread|8|#207|baked|puree|no|
mince pies|mincemeat pie|bread|8|#208|baked|puree|no|
pumpkin pie||bread|1-2|#210|baked|custard|no|v
pecan pie||bread|1-2|#209|baked|custard|no|v
biscuits|cookies|bread|8-12|#199|baked|bread|no|v
doughnuts|donuts|bread|no|#202|baked|bread|no|v
bread dough|pizza dough,dough,yeast dough,roll dough|bread|12|#309|dough/raw dough|dough|no|m
cookie dough|biscuit dough|bread|2|#247|dough/raw dough|dough|no|v
pastry|shortcrust pastry,pie crust,pie crusts,pastry cases|bread|2|#246|dough/raw dough|dough|no|l
puff pastry|filo pastry,phyllo|bread|12|#551|dough/raw dough|dough|no|l
flour|wholemeal flour,whole wheat flour|bread|24|#459|no|flour|no|
nuts|hazelnuts,mixed nuts,cashews,chestnuts|bread|6-12|#386|no|flour|no|
almonds||bread|10|#438|no|flour|no|
peanuts||bread|24|#442|no|flour|no|
pecans||bread|24|#444|no|flour|no|
pistachios||bread|24|#445|no|flour|no|
walnuts||bread|24|#446|no|flour|no|
pine nuts|seeds,sunflower seeds,pumpkin seeds|bread|9|#653|no|flour|no|m
butter||meals|6-9|#1|dairy_egg/butter lactic salted|butter|Butter|
margarine||meals|12|#26|dairy_egg|butter|Butter|lc
milk|jug of milk,milk bottles,cow milk|meals|3|#27|dairy_egg|milk|Milk whole|l
buttermilk||meals|3|#2|dairy_egg|milk|Milk whole|lvc
breast milk|expressed milk|meals|3|#27|dairy_egg|milk|Milk whole|mlc
cream|double cream,heavy cream|meals|3-4|#14|dairy_egg/cream|milk|no|v
single cream|light cream|meals|3-4|#15|dairy_egg/cream|milk|no|v
whipping cream||meals|no|#11|dairy_egg/cream|milk|no|v
sour cream|creme fraiche|meals|no|#29|dairy_egg/cream|milk|no|v
yoghurt|yogurt,kefir|meals|1-2|#33|dairy_egg|milk|Milk whole|lvc
hard cheese|cheddar,parmesan,gouda,swiss cheese|meals|6|#3|dairy_egg|hard_cheese|no|l
grated cheese|shredded cheese,grated cheddar|meals|3-4|#5|dairy_egg|grated_cheese|no|l
soft cheese|brie,camembert,goat cheese,mozzarella,feta|meals|6|#7|dairy_egg|soft_cheese|no|l
cream cheese||meals|no|#10|dairy_egg|soft_cheese|no|l
cottage cheese|quark,curd cheese,fresh cheese|meals|no|#9|dairy_egg|soft_cheese|no|l
ricotta||meals|no|#490|dairy_egg|soft_cheese|no|l
eggs|beaten eggs,egg whites,egg yolks,whole eggs|meals|12|#22|dairy_egg/whole egg|egg|Egg whole|
eggs in shell||meals|no|#21|dairy_egg/whole egg|egg|Egg whole|lv
boiled eggs|hard boiled eggs|meals|no|#23|dairy_egg/whole egg|egg|Egg whole|lvc
ice cream|ice lollies,vanilla ice cream,frozen yoghurt,frozen yogurt|meals|6|\
  #317|ice_cream/ice cream|ice_cream|Ice cream vanilla|
sorbet|sherbet|meals|9|#324|ice_cream/ice cream|ice_cream|Ice cream vanilla|lvc
soup|vegetable soup,chicken soup,pea soup,lentil soup|meals|2-3|#193|ground_meat|stew|no|l
stew|beef stew,venison stew,goulash,lamb stew,ragout|meals|2-3|#193|ground_meat|stew|no|l
chilli|chili,chilli con carne,curry|meals|2-3|#193|ground_meat|stew|no|ml
casserole|bean casserole,hotpot,cassoulet|meals|2-3|FSIS-freezing: casseroles|ground_meat|stew|no|l
gratin|potato gratin,fish pie,creamy bake,moussaka|meals|2-3|FSIS-freezing: casseroles|ground_meat|creamy|no|l
lasagne|lasagna,pasta bake,macaroni cheese,cannelloni|meals|2-3|FSIS-freezing: casseroles|ground_meat|pasta|no|l
bolognese|meat sauce,bolognese sauce,ragu|meals|2-3|#173|ground_meat|stew|no|lv
shepherd's pie|cottage pie|meals|2-3|#173|ground_meat|creamy|no|lv
meat pie|chicken pie,steak pie,pasties,game pie|meals|3-4|\
  FSIS-freezing: frozen dinners and entrees|ground_meat|ready|no|l
sausage rolls|sausage in pastry|meals|3-4|FSIS-freezing: frozen dinners and entrees|ground_meat|ready|no|l
dumplings|ravioli,pierogi,spring rolls,gyoza|meals|3-4|\
  FSIS-freezing: frozen dinners and entrees|ground_meat|ready|no|mlv
pizza|pizzas,pizza slices|meals|1-2|#175|ground_meat|ready|no|l
quiche|egg bake,frittata|meals|2-3|#211|ground_meat|creamy|no|l
ready meal|frozen dinner,tv dinner,meal,dinner|meals|3-4|\
  FSIS-freezing: frozen dinners and entrees|ground_meat|ready|no|l
leftovers|dinner leftovers,leftover stew|meals|2-3|#173|ground_meat|stew|no|lv
vegetable leftovers|cooked vegetables,cooked beans,cooked lentils|meals|1-2|#174|vegetable|stew|no|lv
cooked meat|roast meat,pulled pork,meat loaf,meatballs|meals|2-3|FSIS-freezing: meat, cooked|ground_meat|stew|no|lv
meat in gravy|meat in broth,roast in gravy|meals|6|#186|ground_meat|stew|no|l
cooked rice|rice,risotto|meals|6|#178|no|pasta|no|
cooked pasta|pasta,noodles,spaghetti|meals|1-2|#177|no|pasta|no|
mashed potatoes|mash,mashed potato|meals|10-12|#297|vegetable|creamy|Potatoes main crop|vc
baby food|baby puree|meals|1-2|#174|vegetable|stew|no|mlv
stock|broth,bone broth,bone stock,beef stock,game stock,fish stock|meals|2-3|#484|no|stock|no|
chicken stock|chicken broth,turkey stock|meals|2-3|#486|no|stock|no|
vegetable stock|vegetable broth|meals|2-3|#487|no|stock|no|
gravy|gravy cubes|meals|2-3|FDA-chart: gravy and meat broth|no|stock|no|
""")
